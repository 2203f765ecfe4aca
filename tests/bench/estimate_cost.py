"""What following capacity costs: processor time a reading, bytes a unit, replayed readings a second, in one run.

The same readings go through the rules with the estimate and with `follow_capacity` replaced by nothing, by turns, the
best of three runs each. A fleet reports every 10 s; two hours come before the two that are measured, so that nothing is
new to the estimate. In the falling fleet one unit in ten falls through all limits within the two hours: that is when
means are shortest and forecasts most frequent. The ratio travels between machines, microseconds do not.
Usage: python -m tests.bench.estimate_cost [UNITS]
"""

from __future__ import annotations

import platform
import random
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from importlib.metadata import version
from math import exp
from pathlib import Path
from unittest.mock import patch

from collector.reading import Reading
from collector.recording import open_writer
from collector.replay import Replay, merged
from collector.rules import engine as rules
from collector.rules.engine import RulesEngine
from collector.site import Site, parse_site
from tests.collector.rules.made import purity_at

START_MS, EVERY_MS, HOUR_MS = 1_790_000_000_000, 10_000, 3_600_000
HOURS = 2
RUNS = 3
FLOWS_LPM = (1.0, 2.0, 3.0, 4.0, 4.5)


def fleet(units: int) -> Site:
    """A site of so many units in wards of twenty."""
    wards = "".join(f'[[ward]]\nid = "w{n}"\n' for n in range((units + 19) // 20))
    rows = "".join(f'[[unit]]\nid = "u{n}"\nward = "w{n // 20}"\n' for n in range(units))
    return parse_site(f'[facility]\nid = "sim-bench"\n{wards}{rows}')


def made(units: int, from_h: float, hours: float, one_in: int) -> list[Reading]:
    """All units in turn every 10 s; of each `one_in` units one loses half its capacity in those hours (0: none)."""
    rng = random.Random(round(from_h))  # noqa: S311 - invented values, no secret
    steps = round(hours * HOUR_MS / EVERY_MS)
    found = []
    for step in range(steps):
        for unit in range(units):
            flow = FLOWS_LPM[unit % len(FLOWS_LPM)]
            capacity = 6.0 * exp(-step / steps) if one_in and unit % one_in == 0 else 7.0
            flow = 4.0 if one_in and unit % one_in == 0 else flow
            time_ms = START_MS + round(from_h * HOUR_MS) + step * EVERY_MS + unit * 7
            found.append(Reading(f"u{unit}", time_ms, round(purity_at(flow, capacity) + rng.gauss(0, 0.15), 1), flow,
                                 round(rng.gauss(340, 3), 1), 31.0, 230.0, 140.0))  # fmt: skip
    return found


def follow(engine: RulesEngine, readings: Iterable[Reading]) -> float:
    """Seconds of processor time that the rules take for readings as they come live: a tick for every 500."""
    began = time.process_time()
    for place, r in enumerate(readings):
        if place % 500 == 0:
            engine.tick(r.time_ms - EVERY_MS)
            engine.clear_touched()
        engine.read(r, r.time_ms)
    return time.process_time() - began


def measured(site: Site, before: list[Reading], readings: list[Reading]) -> tuple[float, float, RulesEngine]:
    """Best seconds without and with the estimate, and the engine that has it."""
    without, with_it = [], []
    for _ in range(RUNS):
        with patch.object(rules, "follow_capacity", lambda *_: False):
            bare = RulesEngine(site)
            follow(bare, before)
            without.append(follow(bare, readings))
        full = RulesEngine(site)
        follow(full, before)
        with_it.append(follow(full, readings))
    return min(without), min(with_it), full


def replayed(site: Site, readings: Iterable[Reading]) -> float:
    """Seconds of processor time of a replay."""
    began = time.process_time()
    for _ in Replay(site).events(readings):
        pass
    return time.process_time() - began


def lines(units: int) -> Iterator[str]:
    """The table, row by row."""
    site, before = fleet(units), made(units, 0, HOURS, 0)
    yield f"{'fleet':22}{'without':>10}{'with':>10}{'ratio':>8}{'adds':>10}{'estimate':>12}{'row':>10}\n"
    for name, one_in in (("healthy", 0), ("one in ten falls", 10)):
        readings = made(units, HOURS, HOURS, one_in)
        without, with_it, engine = measured(site, before, readings)
        bare_us, full_us = 1e6 * without / len(readings), 1e6 * with_it / len(readings)
        ids = [unit.id for unit in site.units]
        estimate = max(len(blob) for _, blob in engine.estimates(ids))
        row = max(len(row.state) for row in engine.rows(ids))
        yield (f"{name:22}{bare_us:7.2f} us{full_us:7.2f} us{full_us / bare_us:8.2f}{full_us - bare_us:7.2f} us"
               f"{estimate:10} B{row:8} B\n")  # fmt: skip
    yield from _replays(site, before)


def _replays(site: Site, readings: list[Reading]) -> Iterator[str]:
    seconds = min(replayed(site, readings) for _ in range(RUNS))
    yield f"replay, readings in memory: {len(readings) / seconds:,.0f} readings a second and core\n"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "recording.parquet"
        with open_writer(path, site.facility.id) as writer:
            for reading in readings:
                writer.write(reading)
        seconds = min(replayed(site, merged([path], lambda *_: None, site.facility.id)) for _ in range(RUNS))
    yield f"replay, from Parquet:       {len(readings) / seconds:,.0f} readings a second and core\n"


def main() -> None:
    """Measure and print."""
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    versions = ", ".join(f"{name} {version(name)}" for name in ("msgspec", "numpy", "scipy"))
    sys.stdout.write(f"{platform.machine()}, Python {platform.python_version()}, {versions}\n")
    sys.stdout.write(f"{units} units, a reading every 10 s each, {HOURS} h measured after {HOURS} h known\n\n")
    for line in lines(units):
        sys.stdout.write(line)
        sys.stdout.flush()


if __name__ == "__main__":
    main()
