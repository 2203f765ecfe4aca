"""A group on this machine for tests and measurements: three nodes, collectors as processes, a sender a facility."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import ScaledClock
from collector.reading import Reading
from collector.store import StoreError
from collector.store.history import open_reader, readings, status
from collector.store.journal import verify
from collector.topics import ROOT
from tests.cluster import HOST, Cluster, group_toml
from tests.integration.steady_sender import SteadySender
from tests.waiting import wait_for

UNITS = 5
STEP_MS = 5_000


def site_text(facility: str) -> str:
    units = "".join(f'[[unit]]\nid="u{i}"\nmodel="m"\nward="w"\n' for i in range(UNITS))
    return f'[facility]\nid="{facility}"\n[[ward]]\nid="w"\n[[model]]\nid="m"\n{units}'


def purity_of(unit: int, step: int) -> float:
    """Units swing through amber and red and back, each at its own phase, so that transitions happen all the time."""
    place = (step + unit * 17) % 80
    return 93.0 - place * 0.4 if place < 40 else 77.0 + (place - 40) * 0.4


class NodeSender(SteadySender):
    """Sends to any node of the cluster: each new connection is tried at the next one."""

    def __init__(self, cluster: Cluster, facility: str, clock: ScaledClock, first: int) -> None:
        self._nodes = [(HOST, node.port) for node in cluster.nodes]
        self._tries = first
        start_ms = clock.now_ms()

        def make(step: int) -> list[Reading]:
            at_ms = start_ms + step * STEP_MS
            return [Reading(f"u{u}", at_ms, purity_of(u, step), 4.0, 340.0, volts=230.0) for u in range(UNITS)]

        super().__init__(*self._nodes[0], facility, make, lambda step: clock.wall_delay_s(start_ms + step * STEP_MS))

    def _connect(self) -> None:
        self._where = self._nodes[self._tries % len(self._nodes)]
        self._tries += 1
        super()._connect()


class Ears:
    """What wards are told, with the moment: (monotonic seconds, facility, signal); hears every node's."""

    def __init__(self, cluster: Cluster) -> None:
        self.heard: list[tuple[float, str, dict]] = []
        self._clients = [self._at(node.port) for node in cluster.nodes[:1]]

    def _at(self, port: int) -> mqtt.Client:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, "ears", protocol=mqtt.MQTTv311)
        client.on_connect = lambda c, *_: c.subscribe(f"{ROOT}/+/ward/+/signal", 1)
        client.on_message = self._on_message
        client.connect(HOST, port)
        client.loop_start()
        return client

    def _on_message(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        if not message.retain:
            self.heard.append((time.monotonic(), message.topic.split("/")[2], json.loads(message.payload)))

    def first_after(self, moment_s: float, facility: str) -> float | None:
        """When the facility's ward first heard of an alert after that moment."""
        heard = [at_s for at_s, about, said in list(self.heard) if about == facility and said["alerts"]]
        return next((at_s for at_s in heard if at_s > moment_s), None)

    def close(self) -> None:
        for client in self._clients:
            client.disconnect()
            client.loop_stop()


class Group:
    """Collectors as processes on a cluster that runs; `load()` begins to send for every facility."""

    def __init__(
        self,
        cluster: Cluster,
        folder: Path,
        facilities: int,
        speed: float,
        text_of: Callable[[str], str] = site_text,
        *,
        prefix: str = "sim-f",
    ) -> None:
        self.cluster, self.folder = cluster, folder / "group"
        self.facilities = [f"{prefix}{n}" for n in range(facilities)]
        self.file = group_toml(cluster, self.folder, {name: text_of(name) for name in self.facilities})
        now_ms = time.time_ns() // 1_000_000
        self.clock = ScaledClock(now_ms, now_ms, speed)
        self.members: dict[str, subprocess.Popen[bytes]] = {}
        self.senders: dict[str, NodeSender] = {}

    def start(self, name: str) -> None:
        clock = f"{self.clock.wall_ms},{self.clock.at_ms},{self.clock.speed}"
        argv = [sys.executable, "-m", "collector.cli", "group", "collect", "--file", str(self.file), "--name", name]
        with (self.folder / f"{name}.log").open("ab") as log:
            self.members[name] = subprocess.Popen([*argv, "--clock", clock], stderr=log)

    def kill(self, name: str) -> None:
        self.members[name].kill()
        self.members.pop(name).wait()

    def kill_all(self) -> None:
        for process in self.members.values():
            process.kill()
        for process in self.members.values():
            process.wait()
        self.members.clear()

    def freeze(self, name: str, frozen: bool) -> None:
        os.kill(self.members[name].pid, signal.SIGSTOP if frozen else signal.SIGCONT)

    def load(self) -> None:
        for n, name in enumerate(self.facilities):
            self.senders[name] = NodeSender(self.cluster, name, self.clock, n)

    def owners(self) -> dict[str, str]:
        """Who is at work for each facility: has its store, is connected, and has written so in the last moments."""
        found = {}
        by_pid = {process.pid: name for name, process in self.members.items()}
        for facility in self.facilities:
            now = self.status(facility)
            fresh = time.time() * 1000 - now.get("wall_ms", 0) < 2_500
            if fresh and now.get("broker_state") == "connected" and now.get("pid") in by_pid:
                found[facility] = by_pid[now["pid"]]
        return found

    def wait_owned(self, by: set[str], timeout_s: float = 40.0) -> dict[str, str]:
        """Wait until exactly these are at work and every facility is followed."""
        wait_for(lambda: len(o := self.owners()) == len(self.facilities) and set(o.values()) == by, timeout_s,
                 f"facilities at {by}: {self.owners()}")  # fmt: skip
        return self.owners()

    def status(self, facility: str) -> dict:
        try:
            conn = open_reader(self.data(facility))
        except StoreError:
            return {}
        try:
            return status(conn, "collector") or {}
        finally:
            conn.close()

    def data(self, facility: str) -> Path:
        return self.folder / "stores" / facility

    def finish(self) -> None:
        """End sending, wait until all of it is stored, and end the collectors."""
        for sender in self.senders.values():
            sender.stop.set()
        for sender in self.senders.values():
            sender.finish()
        for facility, sender in self.senders.items():
            wait_for(lambda f=facility, s=sender: self.stored(f) >= len(s.sent), 60, f"the last readings of {facility}")
        self.end()

    def end(self) -> None:
        for process in self.members.values():
            process.terminate()
        for process in self.members.values():
            process.wait(30)
        self.members.clear()

    def stored(self, facility: str) -> int:
        conn = open_reader(self.data(facility))
        try:
            return sum(len(readings(conn, f"u{unit}", 0, 2**53).time_ms) for unit in range(UNITS))
        finally:
            conn.close()

    def close(self) -> None:
        for sender in self.senders.values():
            sender.stop.set()
            sender._unacked.clear()
        for process in self.members.values():
            process.send_signal(signal.SIGCONT)
            process.kill()
            process.wait()


def transitions(data: Path) -> list[tuple[int, str, str, str]]:
    """The changes of alarms that are in the journal, silences left out."""
    conn = open_reader(data)
    try:
        assert verify(conn).ok
        rows = conn.execute("SELECT at_ms, unit, condition, body FROM journal WHERE kind = 'condition'").fetchall()
    finally:
        conn.close()
    found = [(at, unit, condition, json.loads(body)["event"]) for at, unit, condition, body in rows]
    return sorted(row for row in found if row[2] != "readings-absent")


def pause(for_s: float) -> None:
    """Let the load run on; what is waited for is time itself."""
    threading.Event().wait(for_s)
