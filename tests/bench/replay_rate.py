"""How many recorded readings a second the rules go through, in one process and in one a core, from a file.

A fleet reports every 10 s; in the second one unit in ten falls through all limits, when means are shortest and
forecasts most frequent. Starting the processes is in it. `cpu_us` is processor time a reading, all processes together:
it says what idle cores could do where others use the machine too.
Usage: python -m tests.bench.replay_rate [UNITS [HOURS]]
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections import deque
from pathlib import Path

from collector.blocks import Past
from collector.recording import open_writer
from collector.replay import Replay, merged
from collector.rules.events import event_line
from collector.sharded import ShardedReplay
from collector.site import Site
from tests.bench.each_broker import Row, show
from tests.bench.estimate_cost import fleet, made


def recorded(folder: Path, site: Site, hours: int, one_in: int) -> tuple[Path, int]:
    """A Parquet recording, made hour by hour, and how many readings it has."""
    path, count = folder / f"past-{one_in}.parquet", 0
    with open_writer(path) as writer:
        for hour in range(hours):
            for reading in made(len(site.units), hour, 1, one_in):
                writer.write(reading)
                count += 1
    return path, count


def in_one(site: Site, path: Path) -> None:
    """The rules in this process."""
    readings = merged([path], lambda *_: None, site.facility.id)
    deque(map(event_line, Replay(site).events(readings)), maxlen=0)


def in_many(site: Site, path: Path, jobs: int) -> None:
    """The rules in so many processes."""
    deque(ShardedReplay(site, Past((path,)), jobs).lines(lambda *_: None, lambda _: None), maxlen=0)


def _cpu_s() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _timed(count: int, site: Site, path: Path, jobs: int) -> tuple[float, float]:
    """Readings a second, and microseconds of processor time a reading."""
    began, cpu_s = time.perf_counter(), _cpu_s()
    if jobs > 1:
        in_many(site, path, jobs)
    else:
        in_one(site, path)
    return count / (time.perf_counter() - began), 1e6 * (_cpu_s() - cpu_s) / count


def main(units: int = 200, hours: int = 12) -> list[Row]:
    """A row a fleet; `ratio` is that of many processes to one."""
    site, jobs, rows = fleet(units), os.cpu_count() or 1, list[Row]()
    with tempfile.TemporaryDirectory() as name:
        for fleet_name, one_in in (("healthy", 0), ("one in ten falls", 10)):
            path, count = recorded(Path(name), site, hours, one_in)
            (one, _), (many, cpu_us) = _timed(count, site, path, 1), _timed(count, site, path, jobs)
            peak_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            rows.append({"fleet": fleet_name, "readings": float(count), "one_per_s": one, "jobs": float(jobs),
                         "jobs_per_s": many, "cpu_us": cpu_us, "ratio": many / one, "peak_mb": peak_mb})  # fmt: skip
    return rows


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
