"""Foreign MQTT clients through our doors: what they publish is stored, and they read what a ward must know.

Source: the clients themselves, Mosquitto's mosquitto_pub and mosquitto_sub (C) and MQTT.js (JavaScript, Debian's
node-mqtt). The packs are SenML as RFC 8428 (August 2018) writes it, not made by our code; the certificate is checked by
OpenSSL in the one and by Node's TLS in the other. Both brokers, MQTT 3.1.1.
"""

import json
import os
import re
import shutil
import subprocess
import time
from contextlib import closing

import pytest

from collector.broker.mosquitto import find_mosquitto
from collector.broker.nats import find_nats
from collector.clock import WallClock
from collector.door import Door
from collector.doors.certificates import make_authority
from collector.intake import subscriber
from collector.live import Collector
from collector.site import parse_site
from collector.store import open_store
from collector.store.history import open_reader, unit_rows
from tests.conftest import demand
from tests.doors import SITE, Doors, utc
from tests.waiting import wait_for

SCRIPT = __file__.replace("test_foreign_clients.py", "foreign_client.js")
MODULES = "/usr/share/nodejs"  # where Debian keeps them; its own node looks there by itself
LONG_S = 30
pytestmark = pytest.mark.broker


def need(program: str) -> str:
    found = shutil.which(program)
    if found is None:
        words = f"{program} is not on this machine (Debian: apt-get install mosquitto-clients nodejs node-mqtt)"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)
    return found


class MosquittoClients:
    """mosquitto_pub and mosquitto_sub."""

    def __init__(self, _folder) -> None:
        self.pub, self.sub = need("mosquitto_pub"), need("mosquitto_sub")

    def _argv(self, program: str, door: Door) -> list[str]:
        return [program, "-h", door.host, "-p", str(door.port), "-u", door.username, "-P", door.password,
                "-i", door.client_id, "--cafile", str(door.ca), "-V", "mqttv311", "-q", "1"]  # fmt: skip

    def publish(self, door: Door, topic: str, payload: str) -> list[str]:
        return [*self._argv(self.pub, door), "-t", topic, "-m", payload]

    def read(self, door: Door, topic: str) -> list[str]:
        return [*self._argv(self.sub, door), "-t", topic, "-C", "1", "-W", str(LONG_S)]

    @staticmethod
    def heard(output: str) -> dict:
        return json.loads(output)


class MqttJs:
    """MQTT.js under Node."""

    def __init__(self, folder) -> None:
        self.node, self.folder = need("node"), folder
        asked = subprocess.run([self.node, "-e", "require('mqtt')"], env=self.env(), capture_output=True, check=False)
        if asked.returncode:
            need("node-mqtt")

    @staticmethod
    def env() -> dict[str, str]:
        return {**os.environ, "NODE_PATH": MODULES}

    def _account(self, door: Door) -> str:
        path = self.folder / f"{door.username}.json"
        fields = {"host": door.host, "port": door.port, "user": door.username, "password": door.password,
                  "client": door.client_id, "ca": str(door.ca)}  # fmt: skip
        path.write_text(json.dumps(fields))
        return str(path)

    def publish(self, door: Door, topic: str, payload: str) -> list[str]:
        return [self.node, SCRIPT, "publish", self._account(door), topic, payload]

    def read(self, door: Door, topic: str) -> list[str]:
        return [self.node, SCRIPT, "read", self._account(door), topic]

    @staticmethod
    def heard(output: str) -> dict:
        return json.loads(json.loads(output)["payload"])


@pytest.fixture(params=[MosquittoClients, MqttJs], ids=["mosquitto-clients", "mqtt-js"])
def client(request, tmp_path):
    return request.param(tmp_path)


@pytest.fixture(params=["nats", "mosquitto"])
def doors(request, tmp_path, monkeypatch):
    demand({"nats": find_nats, "mosquitto": find_mosquitto}[request.param])
    monkeypatch.setattr(subscriber, "PAUSE_S", 0.0)
    with closing(Doors(request.param, tmp_path).start()) as made:
        yield made


def run(argv: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(argv, env=MqttJs.env(), capture_output=True, text=True, timeout=LONG_S, check=False)


def pack(unit: str) -> str:
    """A pack of RFC 8428 with a base name and a base time in seconds, whose records follow one another."""
    return json.dumps([
        {"bn": f"urn:dev:ops:lake-{unit}:", "bt": round(time.time(), 3), "n": "purity", "u": "/", "v": 0.945},
        {"n": "flow", "u": "l/min", "v": 3.0},
    ])  # fmt: skip


def test_a_foreign_client_publishes_and_reads_its_ward(doors, client, tmp_path):
    with open_store(tmp_path / "store", "lake", durable=False) as store:
        collector = Collector(parse_site(SITE), store, doors.account("collector"), WallClock())

        def turned(predicate) -> bool:
            collector.turn(0.02)
            return predicate()

        wait_for(lambda: turned(lambda: collector.line.subscribed), 15, "the collector")
        sent = run(client.publish(doors.account("bridge-a"), "oxygen/v1/lake/unit/u1/readings", pack("u1")))
        assert (sent.returncode, sent.stderr) == (0, "")
        wait_for(lambda: turned(lambda: collector.counts["messages"] >= 1), 15, "the reading")
        assert collector.counts["quarantined"] == 0
        with closing(open_reader(tmp_path / "store")) as conn:
            (row,) = [row for row in unit_rows(conn) if row.unit == "u1"]
        assert (row.purity_pct, row.flow_lpm) == (94.5, 3.0)
        wait_for(lambda: turned(lambda: "east" in collector.teller.told_ms), 15, "the broker's word on the signal")
        collector.close()
    read = run(client.read(doors.account("ward-east"), "oxygen/v1/lake/ward/east/signal"))
    assert read.returncode == 0, read.stderr
    signal = client.heard(read.stdout)
    assert (signal["v"], signal["facility"], signal["ward"]) == (1, "lake", "east")
    assert sum(signal["counts"].values()) == 1


def test_a_foreign_client_that_trusts_nobody_here_does_not_come_in(doors, client, tmp_path):
    """The check of the certificate is theirs: a broker of another authority is no broker for them."""
    other = tmp_path / "other.crt"
    other.write_bytes(make_authority("lake", utc("2026-01-01")).certificate)
    tried = run(client.publish(doors.account("bridge-a", ca=other), "oxygen/v1/lake/unit/u1/readings", pack("u1")))
    assert tried.returncode != 0
    assert re.search("certificate|TLS error", tried.stderr)
