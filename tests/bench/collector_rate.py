"""How fast the collector takes readings, as a ratio to a bare paho-mqtt subscriber that only counts.

Both subscribe with QoS 1 to the same broker in the same run, in rounds that take turns. The collector has every rule on
and commits before it acknowledges. Usage: python -m tests.bench.collector_rate [MESSAGES [ROUNDS]]
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import Broker
from collector.clock import WallClock
from collector.door import Door
from collector.live import Collector
from collector.site import parse_site
from collector.store import open_store
from collector.topics import readings_topic
from tests.bench.each_broker import on_each_broker, show

UNITS = 1_000


def facility_of(tag: int) -> str:
    """A facility for each measurement: the collector's session is persistent, and must not collect another one's."""
    return f"sim-bench-{tag}"


def site_text(facility: str, units: int) -> str:
    wards = "".join(f'[[ward]]\nid="w{i}"\n' for i in range(20))
    rows = "".join(f'[[unit]]\nid="u{i:05d}"\nmodel="m"\nward="w{i % 20}"\n' for i in range(units))
    return f'[facility]\nid="{facility}"\n{wards}[[model]]\nid="m"\n{rows}'


class Feeder:
    """The publisher in its own process."""

    def __init__(self, broker: Broker, count: int, tag: int, units: int = UNITS, pace: float = 0.0) -> None:
        argv = [broker.host, str(broker.port), facility_of(tag), str(units), str(count), str(pace)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.feeder", *argv],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "ready\n"

    def go(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write("\n")
        self.process.stdin.flush()

    def end(self) -> None:
        self.process.communicate(timeout=60)


def bare(broker: Broker, count: int, tag: int) -> float:
    """Messages a second of paho's own loop with a callback that counts."""
    got = 0
    moments: list[float] = []

    def on_message(client: mqtt.Client, _data: object, _message: mqtt.MQTTMessage) -> None:
        nonlocal got
        got += 1
        if got in (1, count):
            moments.append(time.perf_counter())
        if got == count:
            client.disconnect()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, f"bare-{tag}", protocol=mqtt.MQTTv311)
    feeder = Feeder(broker, count, tag)
    client.on_message = on_message
    client.on_subscribe = lambda *_: feeder.go()
    client.on_connect = lambda c, *_: c.subscribe(readings_topic(facility_of(tag), "+"), 1)
    client.connect(broker.host, broker.port)
    client.loop_forever()
    feeder.end()
    return (count - 1) / (moments[-1] - moments[0])


def ours(broker: Broker, count: int, tag: int, folder: Path) -> float:
    """Messages a second of the whole collector: rules on, committed, then acknowledged."""
    facility = facility_of(tag)
    site = parse_site(site_text(facility, UNITS))
    with open_store(folder / f"store-{tag}", facility) as store:
        collector = Collector(site, store, Door(broker.host, broker.port), WallClock())
        while not collector.line.subscribed:
            collector.turn(0.05)
        feeder = Feeder(broker, count, tag)
        feeder.go()
        while not (first := collector.turn(0.5)):
            pass
        got, began = first, time.perf_counter()
        while got < count:
            got += collector.turn(0.5)
        rate = (count - first) / (time.perf_counter() - began)
        feeder.end()
        assert collector.counts["readings"] == count, collector.counts
        collector.close()
    return rate


def compare(broker: Broker, folder: Path, count: int, rounds: int) -> dict[str, float | str]:
    """One row: medians of both and their ratio."""
    rates: dict[str, list[float]] = {"bare": [], "ours": []}
    tag = 0
    for number in range(rounds):
        order: list[tuple[str, Callable[[int], float]]] = [
            ("bare", lambda ms: bare(broker, count, ms)),
            ("ours", lambda ms: ours(broker, count, ms, folder)),
        ]
        for name, measure in order if number % 2 else reversed(order):
            tag += 1
            rates[name].append(measure(tag))
    medians = {name: statistics.median(values) for name, values in rates.items()}
    return {"broker": broker.name, "bare_per_s": medians["bare"], "ours_per_s": medians["ours"],
            "ratio": medians["ours"] / medians["bare"]}  # fmt: skip


def main(count: int = 30_000, rounds: int = 5) -> list[dict[str, float | str]]:
    """A row a broker; a broker that is not installed is left out."""
    return on_each_broker(lambda broker, folder: compare(broker, folder, count, rounds))


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
