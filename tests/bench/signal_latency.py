"""How long after the reading that makes a unit red its ward's signal arrives, under a steady load.

A unit falls within seconds, which the rules tell at its third low reading, so what is timed is the way from the
publishing of that reading to the arrival of the ward's retained signal at another client: broker, rules, commit
to disk and broker again. Readings carry their own times (a unit's are 10 s apart).
Usage: python -m tests.bench.signal_latency [ALERTS [RATE_PER_S]]
"""

from __future__ import annotations

import statistics
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import msgspec
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import Broker
from collector.clock import ManualClock
from collector.door import Door
from collector.live import Collector
from collector.reading import Reading
from collector.senml import encode_pack
from collector.site import parse_site
from collector.store import open_store
from collector.topics import readings_topic
from tests.bench.each_broker import on_each_broker, show

FACILITY = "sim-latency"
WARDS = 20
LOAD_UNITS = 200
SPACING_MS = 10_000
GOOD_PCT, LOW_PCT = 93.0, 80.0
LOW_READINGS = 3  # a fall of seconds is told at its third low reading (rules/conditions.py): nothing waits for a delay


def site_text(falling: int) -> str:
    wards = "".join(f'[[ward]]\nid="w{n}"\n' for n in range(WARDS))
    units = "".join(f'[[unit]]\nid="{name}"\nward="w{n % WARDS}"\n' for n, name in enumerate(_names(falling)))
    return f'[facility]\nid="{FACILITY}"\n{wards}{units}'


def _names(falling: int) -> list[str]:
    return [f"load{n}" for n in range(LOAD_UNITS)] + [f"fall{n}" for n in range(falling)]


def plan(falling: int, rate_per_s: float, start_ms: int) -> Iterator[tuple[Reading, bool]]:
    """Readings in the order they are sent, and whether each is the one that makes its unit red.

    One unit after the other falls, among healthy ones, so that no two alerts wait for the same commit by arrangement.
    """
    between = max(1, int(rate_per_s) // 20)  # healthy readings between two of a falling unit: twenty of those a second
    sent = 0
    for n in range(falling):
        for step in range(LOW_READINGS + 1):
            purity = GOOD_PCT if step == 0 else LOW_PCT
            yield (
                Reading(f"fall{n}", start_ms + step * SPACING_MS, purity, 4.0, 340.0, volts=230.0),
                step == LOW_READINGS,
            )
            for _ in range(between):
                unit, turn = sent % LOAD_UNITS, sent // LOAD_UNITS
                yield Reading(f"load{unit}", start_ms + turn * SPACING_MS, GOOD_PCT, 4.0, 340.0, volts=230.0), False
                sent += 1


class Ward:
    """The ward's side: notes when each unit first stands in a signal as red."""

    def __init__(self, broker: Broker) -> None:
        self.seen_s: dict[str, float] = {}
        self._ready = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, "ward-screen", protocol=mqtt.MQTTv311)
        self.client.on_connect = lambda client, *_: client.subscribe(f"oxygen/v1/{FACILITY}/ward/+/signal", 1)
        self.client.on_subscribe = lambda *_: self._ready.set()
        self.client.on_message = self._on_message
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        self._ready.wait(10)

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        now_s = time.perf_counter()
        for alert in msgspec.json.decode(message.payload)["alerts"]:
            if alert["condition"] == "purity-red":
                self.seen_s.setdefault(alert["unit"], now_s)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def publish(broker: Broker, falling: int, rate_per_s: float, start_ms: int, sent_s: dict[str, float]) -> None:
    """Publish the plan at its pace; sent_s gets the moment of each unit's crossing reading."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "bridge", protocol=mqtt.MQTTv311)
    client.max_inflight_messages_set(1_000)
    client.connect(broker.host, broker.port)
    client.loop_start()
    began_s = time.perf_counter()
    for number, (reading, crosses) in enumerate(plan(falling, rate_per_s, start_ms)):
        time.sleep(max(0.0, began_s + number / rate_per_s - time.perf_counter()))
        payload = encode_pack(FACILITY, reading.unit, [reading])
        if crosses:
            sent_s[reading.unit] = time.perf_counter()
        client.publish(readings_topic(FACILITY, reading.unit), payload, 1)
    client.disconnect()
    client.loop_stop()


def measure(broker: Broker, folder: Path, falling: int, rate_per_s: float) -> dict[str, float | str]:
    """One row: quantiles in ms of the way from the crossing reading to the ward's signal."""
    sent_s: dict[str, float] = {}
    stop = threading.Event()
    # A clock that stands still: no unit falls silent, so that what is told is red and nothing else. Its speed only
    # widens how far ahead of it a reading may be.
    clock = ManualClock(time.time_ns() // 1_000_000, speed=60.0)
    with open_store(folder / f"store-{broker.name.split()[0]}", FACILITY) as store:
        collector = Collector(parse_site(site_text(falling)), store, Door(broker.host, broker.port), clock)
        while not collector.line.subscribed:
            collector.turn(0.05)
        ward = Ward(broker)
        thread = threading.Thread(target=collector.run, args=(stop,))
        thread.start()
        publish(broker, falling, rate_per_s, clock.now_ms(), sent_s)
        deadline_s = time.monotonic() + 10
        while len(ward.seen_s) < falling and time.monotonic() < deadline_s:
            time.sleep(0.01)
        stop.set()
        thread.join()
        collector.close()
        ward.close()
    return {"broker": broker.name, "rate_per_s": rate_per_s, "alerts": falling, **quantiles_ms(ward.seen_s, sent_s)}


def quantiles_ms(seen_s: dict[str, float], sent_s: dict[str, float]) -> dict[str, float]:
    """How many were told, and how long it took; an alert that never came counts in `told` and spoils no quantile."""
    ways_ms = sorted((seen_s[unit] - sent_s[unit]) * 1000 for unit in sent_s if unit in seen_s)
    cuts = statistics.quantiles(ways_ms, n=100, method="inclusive")
    return {"told": len(ways_ms), "p50_ms": cuts[49], "p99_ms": cuts[98], "max_ms": ways_ms[-1]}


def main(falling: int = 100, rate_per_s: int = 200) -> list[dict[str, float | str]]:
    """A row a broker; a broker that is not installed is left out. 100 alerts at 200 readings/s take half a minute."""
    return on_each_broker(lambda broker, folder: measure(broker, folder, falling, float(rate_per_s)))


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
