// An MQTT client of another language and library: MQTT.js (Debian: node-mqtt).
// node foreign_client.js publish|read ACCOUNT.json TOPIC [PAYLOAD]
// ACCOUNT.json: {host, port, user, password, client, ca}
"use strict";
const fs = require("fs");
const mqtt = require("mqtt");

const [what, accountFile, topic, payload] = process.argv.slice(2);
const account = JSON.parse(fs.readFileSync(accountFile, "utf8"));
const client = mqtt.connect({
  protocol: "mqtts", host: account.host, port: account.port, username: account.user, password: account.password,
  clientId: account.client, ca: fs.readFileSync(account.ca), protocolVersion: 4, reconnectPeriod: 0,
});

function fail(error) {
  process.stderr.write(`${error.message}\n`);
  process.exit(1);
}

client.on("error", fail);
client.on("message", (from, said) => {
  process.stdout.write(JSON.stringify({ topic: from, payload: said.toString() }) + "\n");
  client.end();
});
client.on("connect", () => {
  if (what === "publish") {
    client.publish(topic, payload, { qos: 1 }, (error) => (error ? fail(error) : client.end()));
  } else {
    client.subscribe(topic, { qos: 1 }, (error) => error && fail(error));
  }
});
