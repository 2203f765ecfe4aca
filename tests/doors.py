"""Brokers with TLS and accounts for tests, their keys, and guests who try the doors."""

import os
import socket
import ssl
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import Broker
from collector.broker.secured import BrokerKind, start_secured
from collector.door import Door, read_door, tls_context
from collector.doors import keyring
from collector.doors.keyring import KeyRing
from collector.doors.register import Register, read_register
from collector.doors.rights import Rights, rights
from collector.site import parse_site
from tests.waiting import free_port, wait_for

SITE = """
facility.id = "lake"
[[ward]]
id = "east"
[[ward]]
id = "west"
[[unit]]
id = "u1"
ward = "east"
[[unit]]
id = "u2"
ward = "west"
[[cylinder]]
id = "c1"
ward = "east"
[[bridge]]
id = "a"
units = ["u1"]
[[bridge]]
id = "b"
units = ["u2"]
cylinders = ["c1"]
[[bridge]]
id = "any"
"""
HEARD_S = 10.0


class Doors:
    """A folder of keys, and a broker of either kind that goes by them."""

    def __init__(self, kind: BrokerKind, folder: Path, now: datetime | None = None, site: str = SITE) -> None:
        self.kind, self.folder, self.keys = kind, folder, folder / "keys"
        (folder / "data").mkdir(exist_ok=True)
        parsed = parse_site(site)
        self.ring = KeyRing(self.keys, parsed, read_register(self.keys) or self._register(parsed.facility.id), now)
        self.ring.make()
        self.broker: Broker | None = None

    def _register(self, facility: str) -> Register:
        return Register(
            facility=facility, hosts=["127.0.0.1"], port=free_port(), listen="127.0.0.1", installed=str(self.keys),
            data=str(self.folder / "data"), broker_user="root" if os.geteuid() == 0 else "",
        )  # fmt: skip

    def start(self) -> "Doors":
        """Start the broker, or start it again."""
        if self.broker is None:
            register = self.ring.register
            self.broker = start_secured(
                self.kind, self.keys / "broker", self.folder / "log", register.listen, register.port
            )
        else:
            self.broker.start()
        return self

    def account(self, name: str, **changes: Any) -> Door:
        """The door of an account, some of its fields changed."""
        door = read_door(self.keys / "accounts" / f"{name}.toml")
        return Door(**{**{field: getattr(door, field) for field in Door.__struct_fields__}, **changes})

    def close(self) -> None:
        if self.broker is not None and self.broker.running:
            self.broker.stop()


def all_seeing(monkeypatch) -> None:
    """Let the check account read every topic there is, so that it sees what should not have been let through."""

    def more(site, owner):
        return Rights(("lake/fence",), ("#",)) if owner.kind == "check" else rights(site, owner)

    monkeypatch.setattr(keyring, "rights", more)


class Guest:
    """A real MQTT client that notes everything it is told."""

    def __init__(
        self,
        door: Door,
        client_id: str = "",
        *,
        clean: bool = True,
        will: tuple[str, bytes] | None = None,
        window: int = 20,
    ) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.answers: list[str] = []
        self.granted: list[bool] = []
        self.acknowledged: set[int] = set()
        self.losses = 0
        self._news = threading.Condition()
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id or door.client_id, clean_session=clean, protocol=mqtt.MQTTv311,
            reconnect_on_failure=False,
        )  # fmt: skip
        if door.username:
            client.username_pw_set(door.username, door.password)
        if (context := tls_context(door)) is not None:
            client.tls_set_context(context)
        client.max_inflight_messages_set(window)  # 0: as many as there are
        if will:
            client.will_set(*will, qos=1, retain=True)
        client.on_connect = lambda _c, _d, _f, reason, _p: self.answers.append(str(reason))
        client.on_message = lambda _c, _d, message: self.heard.append((message.topic, bytes(message.payload)))
        client.on_subscribe = lambda _c, _d, _m, reasons, _p: self.granted.extend(not r.is_failure for r in reasons)
        client.on_publish = lambda _c, _d, mid, *_: self.acknowledged.add(mid)
        client.on_disconnect = self._lost
        self.client = client
        client.connect(door.host, door.port)
        client.loop_start()
        wait_for(lambda: self.answers, HEARD_S, "the broker's answer")

    def _lost(self, *_: object) -> None:
        self.losses += 1

    def say(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False) -> None:
        """Publish, and wait for the broker's word that it has it."""
        mid = self.client.publish(topic, payload, qos, retain).mid
        wait_for(lambda: mid in self.acknowledged, HEARD_S, f"the broker's word on {topic}")

    def ask(self, *topics: str, qos: int = 1) -> list[bool]:
        """Subscribe, and return which subscriptions the broker says it granted."""
        before = len(self.granted)
        for topic in topics:
            self.client.subscribe(topic, qos)
        wait_for(lambda: len(self.granted) >= before + len(topics), HEARD_S, "the broker's word on subscriptions")
        return self.granted[before:]

    def crash(self) -> None:
        """Break the connection without a goodbye."""
        sock = self.client.socket()
        assert isinstance(sock, socket.socket)
        sock.shutdown(socket.SHUT_RDWR)
        wait_for(lambda: self.losses, HEARD_S, "the end of the connection")

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def shown_until(door: Door) -> float:
    """When the certificate ends that a new connection is shown, in seconds since 1970."""
    context = tls_context(door)
    assert context is not None
    plain = socket.create_connection((door.host, door.port), timeout=HEARD_S)
    with context.wrap_socket(plain, server_hostname=door.host) as link:
        shown = link.getpeercert()
    assert shown is not None
    return ssl.cert_time_to_seconds(str(shown["notAfter"]))


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
