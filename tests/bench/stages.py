"""Where a reading's time goes in the collector, stage by stage, in microseconds of processor time.

Each stage of a turn is timed alone on the same batches of 500 readings of 1,000 units, as they come at a steady load:
the pack is decoded and admitted, judged by the rules, rows are made of the units that changed, and all of it is stored.
What the MQTT library takes to receive and acknowledge a message is the bare subscriber's; see collector_rate.
Usage: python -m tests.bench.stages [BATCHES]
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from collector.followed import Followed
from collector.intake.admit import Admission
from collector.intake.flood import Flood
from collector.intake.subscriber import BATCH, Message
from collector.senml import encode_pack
from collector.site import Site
from collector.store import Store, open_store
from collector.topics import readings_topic
from tests.bench.each_broker import Row, show
from tests.bench.estimate_cost import HOUR_MS, START_MS, fleet, made

UNITS: Final = 1_000
NOW_MS: Final = START_MS + 24 * HOUR_MS
_BEFORE: Final = 4  # batches that are not counted: the first readings of all units make their rows


class Watch:
    """Processor time by stage."""

    def __init__(self) -> None:
        self.spent_s: dict[str, float] = defaultdict(float)

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        began = time.process_time()
        yield
        self.spent_s[stage] += time.process_time() - began


def messages(site: Site, batches: int) -> Iterator[list[Message]]:
    """Batches as they come from the broker."""
    readings = made(UNITS, 0, BATCH * (batches + _BEFORE) / UNITS / 360 + 0.003, 0)
    facility = site.facility.id
    for start in range(0, BATCH * (batches + _BEFORE), BATCH):
        part = readings[start : start + BATCH]
        yield [(readings_topic(facility, r.unit), encode_pack(facility, r.unit, [r]), 0, 0) for r in part]


def turn(flood: Flood, store: Store, followed: Followed, batch: list[Message], watch: Watch) -> None:
    """What live.py does with a batch, but for the broker's part and the journal."""
    with watch("decode and admit"):
        admitted = flood.admit(batch, NOW_MS)
    with watch("rules"):
        for reading in admitted.readings:
            followed.engine.read(reading, NOW_MS)
    with store.transaction():
        with watch("store readings"):
            store.add_readings(admitted.readings)
        with watch("store what is known of units"):
            followed.save_units()
        began = time.process_time()
    watch.spent_s["commit"] += time.process_time() - began
    followed.engine.clear_touched()


def main(batches: int = 60) -> list[Row]:
    """A row a stage."""
    site = fleet(UNITS)
    watch = Watch()
    with tempfile.TemporaryDirectory() as name, open_store(Path(name), site.facility.id) as store:
        flood, followed = Flood(Admission(site), 1.0, time.monotonic), Followed(site, store)
        for place, batch in enumerate(messages(site, batches)):
            turn(flood, store, followed, batch, watch if place >= _BEFORE else Watch())
    count = batches * BATCH
    rows: list[Row] = [
        {"stage": stage, "us_per_reading": 1e6 * spent_s / count} for stage, spent_s in watch.spent_s.items()
    ]
    return [*rows, {"stage": "all", "us_per_reading": 1e6 * sum(watch.spent_s.values()) / count}]


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
