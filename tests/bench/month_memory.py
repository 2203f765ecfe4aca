"""The collector's memory over a simulated month: real rules, real store and upkeep, a made-up line instead of a broker.

One turn is EVERY_S of facility time with a reading of every unit, as fast as it goes; units fall and recover, some fall
silent, some send nonsense. Memory is the resident set, taken once a simulated day after a full garbage collection.
Usage: python -m tests.bench.month_memory [--days N] [--units N] [--every SECONDS]
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from collector.clock import ManualClock
from collector.door import Door
from collector.intake.subscriber import CONNECTED, Message
from collector.live import Collector
from collector.reading import Reading
from collector.senml import encode_pack
from collector.site import parse_site
from collector.store import open_store
from collector.topics import readings_topic
from tests.bench.each_broker import show

FACILITY = "sim-month"
START_MS = 1_790_000_000_000 // 86_400_000 * 86_400_000
DAY_S = 86_400
SLICES = 8  # of upkeep after each turn, at the most
WARM_DAYS = 7  # before the first week that counts: caches fill, every unit learns its plateau


class MadeUpLine:
    """Stands where the subscriber is: hands out one batch a turn, and takes everything."""

    def __init__(self) -> None:
        self.state, self.said, self.door, self.connections, self.subscribed = CONNECTED, "", Door("made-up", 1), 1, True
        self.next: list[Message] = []
        self.certificate_until_s, self.settled = None, True
        self.published = self.confirmed = 0

    def poll(self, _timeout_s: float) -> list[Message]:
        """What comes now."""
        batch, self.next = self.next, []
        return batch

    def acknowledge(self, batch: Sequence[Message]) -> None:
        """Nothing waits for it."""

    def publish(self, _topic: str, _payload: bytes, *, retain: bool = True) -> int:
        """Taken at once."""
        self.published += 1
        return self.published

    def take_published(self) -> list[int]:
        """Everything since the last call."""
        first, self.confirmed = self.confirmed, self.published
        return list(range(first + 1, self.published + 1))

    def drop(self) -> None:
        """There is nothing to break."""

    def close(self) -> None:
        """There is nothing to end."""


def site_text(units: int) -> str:
    """Twenty units a ward."""
    wards = "".join(f'[[ward]]\nid="w{i}"\n' for i in range((units + 19) // 20))
    rows = "".join(f'[[unit]]\nid="u{i:03d}"\nmodel="m"\nward="w{i // 20}"\n' for i in range(units))
    return f'[facility]\nid="{FACILITY}"\n{wards}[[model]]\nid="m"\n{rows}'


def batch_of(units: int, step: int, every_s: int) -> list[Message]:
    """One reading of every unit; every tenth unit falls through amber and red once a day and recovers."""
    at_ms = START_MS + step * every_s * 1000
    hour = step * every_s / 3600
    made = []
    for n in range(units):
        if n % 50 == 7 and 3 < (hour + n) % 24 < 4:
            continue  # silent for an hour a day
        phase = (hour + n) % 24
        fall = 16.0 * max(0.0, 1 - abs(phase - 12)) if n % 10 == 3 else 0.0
        reading = Reading(f"u{n:03d}", at_ms, 93.5 + (step * 7 + n) % 5 * 0.1 - fall, 4.0 + n % 3, 340.0, 31.0, 230.0)
        payload = b"nonsense" if (step + n) % 997 == 0 else encode_pack(FACILITY, reading.unit, [reading])
        made.append((readings_topic(FACILITY, reading.unit), payload, n + 1, 1))
    return made


def resident_mb() -> float:
    """Of this process."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def follow(folder: Path, days: int, units: int, every_s: int) -> tuple[list[float], int]:
    """Memory at the end of each day, and how many readings there were."""
    clock = ManualClock(START_MS)
    with open_store(folder, FACILITY, durable=False) as store:
        collector = Collector(
            parse_site(site_text(units)), store, Door("made-up", 1), clock, monotonic_s=lambda: clock.now_ms() / 1000,
            wall_s=lambda: clock.now_ms() / 1000,
        )  # fmt: skip
        line = MadeUpLine()
        collector.line = collector.teller._line = collector._line_watch._line = line  # type: ignore[assignment]
        found = []
        for day in range(days):
            for step in range(day * DAY_S // every_s, (day + 1) * DAY_S // every_s):
                clock.advance(START_MS + step * every_s * 1000 + 500 - clock.now_ms())
                line.next = batch_of(units, step, every_s)
                collector.turn()
                for _ in range(SLICES):
                    if not collector._upkeep.slice():
                        break
            found.append(resident_mb())
            sys.stderr.write(f"day {day + 1}: {found[-1]:.1f} MB, {collector.counts['readings']:,} readings\n")
        readings = collector.counts["readings"]
        collector.close()
    return found, readings


def slope_mb(values: Sequence[float]) -> float:
    """Least squares, MB a day."""
    n = len(values)
    middle, mean = (n - 1) / 2, sum(values) / n
    return sum((i - middle) * (v - mean) for i, v in enumerate(values)) / sum((i - middle) ** 2 for i in range(n))


def main() -> None:
    """The last week's memory as a ratio to that of the first week after the warm-up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=30)
    parser.add_argument("--units", type=int, default=200)
    parser.add_argument("--every", type=int, default=60)
    args = parser.parse_args()
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        found, readings = follow(Path(name), args.days, args.units, args.every)
    warm = found[WARM_DAYS:] if len(found) > WARM_DAYS + 1 else found
    week = min(7, max(1, len(warm) // 2))
    first, last = sum(warm[:week]) / week, sum(warm[-week:]) / week
    show([{"readings": str(readings), "first_day_mb": found[0], "first_week_mb": first, "last_week_mb": last,
           "ratio": last / first, "slope_mb_a_day": slope_mb(warm) if len(warm) > 1 else 0.0, "greatest_mb": max(found),
           "took_s": time.monotonic() - began_s}])  # fmt: skip


if __name__ == "__main__":
    main()
