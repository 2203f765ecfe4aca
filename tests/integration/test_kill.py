"""`kill -9` of the collector at random moments under load: nothing acknowledged is missing, nothing is there twice."""

import json
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import start_mosquitto
from collector.broker.mosquitto import find_mosquitto
from collector.clock import ScaledClock
from collector.reading import Reading
from collector.rules.engine import RulesEngine
from collector.senml import encode_pack
from collector.site import Site, parse_site
from collector.store import StoreError
from collector.store.history import open_reader, readings, status
from collector.store.journal import verify
from collector.topics import readings_topic
from tests.conftest import demand
from tests.waiting import wait_for

KILLS = 20
UNITS = 20
SPEED = 100.0  # the facility's clock: alarm delays of a minute pass in 0.6 s, so that there are many transitions
STEP_MS = 5_000
FACILITY = "sim-kill"
SITE_TEXT = f'[facility]\nid="{FACILITY}"\n[[ward]]\nid="w"\n[[model]]\nid="m"\n' + "".join(
    f'[[unit]]\nid="u{i:02d}"\nmodel="m"\nward="w"\n' for i in range(UNITS)
)


def purity_of(unit: int, step: int) -> float:
    """Units swing through amber and red and back, each at its own phase, so that transitions happen all the time."""
    place = (step + unit * 7) % 80
    return 93.0 - place * 0.4 if place < 40 else 77.0 + (place - 40) * 0.4


class Load:
    """Publishes every unit's readings as the facility's clock goes, until told to stop, then waits for every PUBACK."""

    def __init__(self, host: str, port: int, clock: ScaledClock) -> None:
        self.sent: list[Reading] = []
        self.acked = 0
        self.stop = threading.Event()
        self._clock = clock
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "load", protocol=mqtt.MQTTv311)
        self._client.max_inflight_messages_set(0)  # we bound it ourselves: paho's own queue may be overtaken
        self._client.on_publish = self._on_publish
        self._client.connect(host, port)
        self._client.loop_start()
        wait_for(self._client.is_connected, 10, "the load's connection")
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _on_publish(self, *_: object) -> None:
        self.acked += 1

    def _run(self) -> None:
        start_ms, step = self._clock.now_ms(), 0
        while not self.stop.is_set():
            wait_for(lambda: len(self.sent) - self.acked < 500 or self.stop.is_set(), 60, "PUBACKs")
            for unit in range(UNITS):
                reading = Reading(
                    f"u{unit:02d}", start_ms + step * STEP_MS, purity_of(unit, step), 4.0, 340.0, volts=230.0
                )
                self.sent.append(reading)
                self._client.publish(
                    readings_topic(FACILITY, reading.unit), encode_pack(FACILITY, reading.unit, [reading]), 1
                )
            step += 1
            self.stop.wait(self._clock.wall_delay_s(start_ms + step * STEP_MS))

    def finish(self) -> None:
        self.stop.set()
        self._thread.join()
        wait_for(lambda: self.acked == len(self.sent), 60, "every PUBACK")
        self._client.disconnect()
        self._client.loop_stop()


def start(site_file: Path, broker_address: str, data: Path, clock: ScaledClock) -> subprocess.Popen[bytes]:
    times = f"{clock.wall_ms},{clock.at_ms},{clock.speed}"
    argv = [sys.executable, "-m", "tests.integration.collect_child", str(site_file), broker_address, str(data), times]
    return subprocess.Popen(argv, stderr=subprocess.DEVNULL)


def stored(data: Path) -> int:
    conn = open_reader(data)
    try:
        return sum(len(readings(conn, f"u{unit:02d}", 0, 2**53).time_ms) for unit in range(UNITS))
    finally:
        conn.close()


def undisturbed(site: Site, sent: list[Reading]) -> list[tuple[object, ...]]:
    """What the same readings give without any kill; readings of one unit are in order, as the broker keeps them."""
    engine = RulesEngine(site)
    return sorted((e.time_ms, e.unit, e.condition, e.event) for r in sent for e in engine.read(r, r.time_ms))


@pytest.fixture(params=["nats", "mosquitto"])
def busy_broker(request, tmp_path):
    """Each broker; Mosquitto without its save at every change, since here it is the collector that is killed."""
    if request.param == "nats":
        yield request.getfixturevalue("nats")
        return
    demand(find_mosquitto)
    with start_mosquitto(tmp_path / "broker data", save_every_change=False) as broker:
        yield broker


@pytest.mark.slow
@pytest.mark.broker
def test_nothing_is_lost_or_doubled_over_many_kills(busy_broker, tmp_path: Path) -> None:
    site_file, data = tmp_path / "site.toml", tmp_path / "data"
    site_file.write_text(SITE_TEXT)
    broker = busy_broker
    address = f"{broker.host}:{broker.port}"
    rng = random.Random(20261125)  # noqa: S311 - no secret
    clock = ScaledClock(time.time_ns() // 1_000_000, time.time_ns() // 1_000_000, SPEED)
    child = start(site_file, address, data, clock)
    wait_for(lambda: at_work(data, child.pid) and caught_up(data), 20, "the collector's subscription")
    load = Load(broker.host, broker.port, clock)
    pause = threading.Event()
    for _ in range(KILLS):
        wait_for(lambda pid=child.pid: at_work(data, pid), 20, "the collector at work")
        pause.wait(rng.uniform(0.0, 2.2))  # the moment of the kill is what is random here
        child.kill()
        child.wait()
        child = start(site_file, address, data, clock)
    load.finish()
    wait_for(lambda: at_work(data, child.pid), 20, "the last collector at work")
    wait_for(lambda: stored(data) >= len(load.sent), 60, "the last readings in the store")
    child.terminate()
    assert child.wait(20) == 0

    check_record(data, load.sent)


def check_record(data: Path, sent: list[Reading]) -> None:
    """Everything is there once, and the alarms changed as they would have without any kill."""
    conn = open_reader(data)
    for unit in range(UNITS):
        mine = [r for r in sent if r.unit == f"u{unit:02d}"]
        columns = readings(conn, f"u{unit:02d}", 0, 2**53)
        assert columns.time_ms.tolist() == [r.time_ms for r in mine]
        assert columns.purity_pct.tolist() == [r.purity_pct for r in mine]
    rows = conn.execute("SELECT at_ms, unit, condition, body FROM journal WHERE kind = 'condition'").fetchall()
    found = sorted((at, unit, condition, json.loads(body)["event"]) for at, unit, condition, body in rows)
    changes = [row for row in found if row[2] != "readings-absent"]
    assert changes == undisturbed(parse_site(SITE_TEXT), sent)
    assert changes, "the load must have made transitions"
    assert verify(conn).ok
    starts = conn.execute("SELECT count(*) FROM journal WHERE kind = 'collector-start'").fetchone()[0]
    assert starts == KILLS + 1


def caught_up(data: Path) -> bool:
    conn = open_reader(data)
    try:
        return bool((status(conn, "collector") or {}).get("caught_up"))
    finally:
        conn.close()


def at_work(data: Path, pid: int) -> bool:
    """Whether the child with this pid is subscribed and has written its status."""
    try:
        conn = open_reader(data)
    except StoreError:  # the child has not made it yet
        return False
    try:
        now = status(conn, "collector") or {}
        return now.get("pid") == pid and now.get("broker_state") == "connected"
    finally:
        conn.close()
