"""What the collector costs at a steady load, and that a reading costs no more in a large fleet: CPU, memory, commits.

Nor does it in a store that holds a year. Each runs in a process of its own, broker and feeder beside it; readings come
at the same pace whatever the number of units. Usage: python -m tests.bench.fleet_load [RATE_PER_S [SECONDS]]
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from collector.broker import start_nats
from collector.clock import WallClock
from collector.door import Door
from collector.live import Collector
from collector.site import Site, parse_site
from collector.store import Store, open_store
from collector.store.readings import HOUR_MS
from tests.bench import read_back
from tests.bench.collector_rate import Feeder, facility_of, site_text
from tests.bench.each_broker import Row, show

SIZES = (100, 1_000, 10_000)
DAYS = (1, 30, 365)
SETTLE_S = 3.0  # at least, and twice every unit: first readings make rows; what is measured comes after


def _rss_mb() -> float:
    with Path("/proc/self/status").open(encoding="ascii") as lines:
        return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def written_bytes() -> int:
    """Bytes that this process has had written to the device."""
    with Path("/proc/self/io").open(encoding="ascii") as lines:
        return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


def measure(units: int, rate_per_s: float, seconds: float, days: float = 0.0) -> dict[str, float]:
    """CPU share of one core, microseconds and bytes to disk a reading, and memory, of this process.

    With `days`, the store holds so many of one unit, a reading in 10 s, and what retention leaves of them.
    """
    settle = int(max(rate_per_s * SETTLE_S, 2 * units))
    count = int(rate_per_s * seconds) + settle
    facility = facility_of(units)
    with (
        tempfile.TemporaryDirectory() as name,
        start_nats(Path(name)) as broker,
        open_store(Path(name) / "store", facility) as store,
    ):
        site, door = parse_site(site_text(facility, units)), Door(broker.host, broker.port)
        if days:
            _give_history(store, site, int(days))
        collector = Collector(site, store, door, WallClock())
        while not collector.line.subscribed:
            collector.turn(0.05)
        feeder = Feeder(broker, count, units, units, rate_per_s)
        feeder.go()
        before = 0
        while before < settle:
            before += collector.turn(0.5)
        found = _steady(collector, count - before)
        feeder.end()
        collector.close()
        return found | {"rss_mb": _rss_mb()}


def _give_history(store: Store, site: Site, days: int) -> None:
    now_ms = time.time_ns() // 1_000_000
    end_ms = now_ms // HOUR_MS * HOUR_MS - HOUR_MS
    read_back.fill(store, site, days, HOUR_MS, end_ms - days * 24 * HOUR_MS)
    while store.retain(now_ms):
        pass


def _steady(collector: Collector, count: int) -> dict[str, float]:
    got = batches = 0
    cpu_s, wall_s, written = time.process_time(), time.perf_counter(), written_bytes()
    while got < count:
        more = collector.turn(0.5)
        got, batches = got + more, batches + bool(more)
    cpu_s, wall_s, written = time.process_time() - cpu_s, time.perf_counter() - wall_s, written_bytes() - written
    return {
        "cpu_share": cpu_s / wall_s, "us_per_reading": 1e6 * cpu_s / got, "batches_per_s": batches / wall_s,
        "disk_bytes_per_reading": written / got,
    }  # fmt: skip


def _one(units: int, rate_per_s: float, seconds: float, days: int = 0) -> dict[str, float]:
    argv = [
        sys.executable,
        "-m",
        "tests.bench.fleet_load",
        "--one",
        str(units),
        str(rate_per_s),
        str(seconds),
        str(days),
    ]
    found: dict[str, float] = json.loads(subprocess.run(argv, check=True, capture_output=True, text=True).stdout)
    return found


def main(rate_per_s: float = 1_000.0, seconds: float = 20.0) -> list[Row]:
    """A row a fleet size; `ratio` is the cost of a reading against that of the smallest fleet."""
    rows: list[Row] = []
    for units in SIZES:
        found = _one(units, rate_per_s, seconds)
        first = rows[0]["us_per_reading"] if rows else found["us_per_reading"]
        rows.append({"units": str(units), "rate_per_s": rate_per_s, **found,
                     "ratio": found["us_per_reading"] / float(first)})  # fmt: skip
    return rows


def histories(rate_per_s: float = 1_000.0, seconds: float = 20.0) -> list[Row]:
    """A row a length of history, 100 units; `ratio` is the cost of a reading against that on a day's."""
    rows: list[Row] = []
    for days in DAYS:
        found = _one(SIZES[0], rate_per_s, seconds, days)
        first = rows[0]["us_per_reading"] if rows else found["us_per_reading"]
        rows.append({"days": str(days), "rate_per_s": rate_per_s, **found,
                     "ratio": found["us_per_reading"] / float(first)})  # fmt: skip
    return rows


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        sys.stdout.write(json.dumps(measure(int(sys.argv[2]), *map(float, sys.argv[3:]))))
    else:
        show(main(*map(float, sys.argv[1:])))
        show(histories(*map(float, sys.argv[1:])))
