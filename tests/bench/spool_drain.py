"""How fast a bridge's spool drains, as a ratio to paho-mqtt publishing the same packs from memory.

Both publish with QoS 1 to the same broker in the same run, in rounds that take turns, with alike bounds.
The spool is on disk, its readings are decoded, packed and forgotten on disk as acknowledgements come, while one live
reading of each unit is offered every 10 s of its time. Usage: python -m tests.bench.spool_drain [UNITS [ROUNDS]]
"""

from __future__ import annotations

import select
import statistics
import sys
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.bridge.forward import BACKLOG_PACKS, Forwarder
from collector.bridge.packs import packed
from collector.bridge.spool import Spool
from collector.broker import Broker
from collector.door import Door
from collector.reading import Reading
from collector.senml import encode_pack
from collector.topics import readings_topic
from tests.bench.each_broker import on_each_broker, show

FACILITY = "sim-bench-drain"
DAY_MS, STEP_MS = 86_400_000, 10_000
NOW_MS = 1_795_000_000_000
LIMIT = 500_000_000


def day_of(units: int) -> list[Reading]:
    """A day of readings at 10 s, in the order in which they came."""
    return [
        Reading(f"u{unit:03d}", NOW_MS - DAY_MS + at_ms, 93.4, 4.0, 341.5, 31.2, 229.8)
        for at_ms in range(0, DAY_MS, STEP_MS)
        for unit in range(units)
    ]


def bare(broker: Broker, messages: list[tuple[str, bytes]]) -> float:
    """Packs a second of paho alone."""
    acked = 0

    def on_publish(*_: object) -> None:
        nonlocal acked
        acked += 1

    client = mqtt.Client(CallbackAPIVersion.VERSION2, "bare", protocol=mqtt.MQTTv311)
    client.max_inflight_messages_set(0)
    client.on_publish = on_publish
    client.connect(broker.host, broker.port)
    while not client.is_connected():
        client.loop(0.1)
    sent, began = 0, time.perf_counter()
    while acked < len(messages):
        while sent < len(messages) and sent - acked < BACKLOG_PACKS:
            client.publish(*messages[sent], qos=1)
            sent += 1
        sock = client.socket()
        assert sock is not None
        select.select([sock.fileno()], [sock.fileno()] if client.want_write() else [], [], 1.0)
        client.loop_read()
        client.loop_write()
    rate = len(messages) / (time.perf_counter() - began)
    client.disconnect()
    return rate


def ours(broker: Broker, day: list[Reading], units: int, folder: Path) -> tuple[float, float]:
    """Readings of the backlog a second, from the connect to an empty spool, and the longest a live one took in ms."""
    spool = Spool(folder / "spool.sqlite3", LIMIT)
    for start in range(0, len(day), 5_000):
        spool.put(day[start : start + 5_000])
    forwarder = Forwarder(Door(broker.host, broker.port), FACILITY, "b1", spool)
    while not forwarder.line.connected:
        forwarder.line.turn()
    began, live, slowest_s = time.perf_counter(), 0, 0.0
    forwarder.turn()
    offered_s: float | None = None
    while spool.waiting:
        if offered_s is None and time.perf_counter() - began > live:
            forwarder.offer([Reading(f"u{unit:03d}", NOW_MS + live * STEP_MS, 93.4, 4.0) for unit in range(units)])
            offered_s, live = time.perf_counter(), live + 1
        forwarder.turn()
        if offered_s is not None and not forwarder.live_on_the_way:
            slowest_s, offered_s = max(slowest_s, time.perf_counter() - offered_s), None
        if (sock := forwarder.socket) is not None:
            select.select([sock], [sock] if forwarder.wants_write else [], [], 1.0)
    rate = len(day) / (time.perf_counter() - began)
    assert forwarder.sent == len(day) + live * units
    forwarder.close()
    spool.close()
    return rate, slowest_s * 1000


def compare(broker: Broker, folder: Path, units: int, rounds: int) -> dict[str, float | str]:
    """One row: medians, and their ratio."""
    day = day_of(units)
    messages = [
        (readings_topic(FACILITY, unit), encode_pack(FACILITY, unit, [reading for _, reading in rows]))
        for unit, rows in packed(enumerate(day))
    ]
    found: dict[str, list[float]] = {"bare": [], "ours": [], "live_ms": []}
    for number in range(rounds):
        for which in ("bare", "ours") if number % 2 else ("ours", "bare"):
            if which == "bare":
                found["bare"].append(bare(broker, messages) * len(day) / len(messages))
            else:
                rate, slowest_ms = ours(broker, day, units, folder / f"spool-{number}")
                found["ours"].append(rate)
                found["live_ms"].append(slowest_ms)
    medians = {name: statistics.median(values) for name, values in found.items()}
    return {"broker": broker.name, "readings": float(len(day)), "bare_per_s": medians["bare"],
            "ours_per_s": medians["ours"], "ratio": medians["ours"] / medians["bare"],
            "slowest_live_ms": max(found["live_ms"])}  # fmt: skip


def main(units: int = 24, rounds: int = 3) -> list[dict[str, float | str]]:
    """A row a broker; a broker that is not installed is left out."""
    return on_each_broker(lambda broker, folder: compare(broker, folder, units, rounds))


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
