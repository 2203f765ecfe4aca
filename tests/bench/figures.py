"""All figures of speed, memory and disk in one table, with the machine and the versions they were measured with.

`figure` is what is measured, `limit` what it must reach or stay under (the last column says whether it does), `peer`
the ratio to what it is compared with in the same run, where there is such a thing: a bare paho subscriber for
throughput, the smallest fleet for the cost of a reading, one process for replay. Read ratios: rates travel badly
between machines, and a busy one makes all of them worse.
Usage: python -m tests.bench.figures [--full]; some minutes, full some ten.
"""

from __future__ import annotations

import os
import platform
import sqlite3
import sys
from collections.abc import Callable, Iterator
from importlib.metadata import version
from typing import NamedTuple

from tests.bench import collector_rate, disk_size, fleet_load, read_back, replay_rate, signal_latency, small_house

_LIBRARIES = ("paho-mqtt", "msgspec", "numpy", "pyarrow", "streamlit")


class Figure(NamedTuple):
    """One measured figure; `least` tells whether the limit is a least or a most."""

    name: str
    value: float
    limit: float
    unit: str
    least: bool = False
    peer: float | None = None

    @property
    def line(self) -> str:
        """The figure as a row of the table."""
        good = self.value >= self.limit if self.least else self.value <= self.limit
        bound = ("at least" if self.least else "at most") + f" {self.limit:,.6g}"
        peer = f"{self.peer:.2f}" if self.peer is not None else "-"
        return f"{self.name:46}{self.value:>14,.6g} {self.unit:14}{bound:20}{peer:>7}  {'yes' if good else 'NO'}\n"


def throughput(full: bool) -> Iterator[Figure]:
    """The collector against a bare subscriber, on each broker."""
    for row in collector_rate.main(30_000, 5 if full else 2):
        ratio = float(row["ratio"])
        yield Figure(f"throughput on {row['broker']}", ratio, 0.7, "of bare paho", True, ratio)


def fleets(full: bool) -> Iterator[Figure]:
    """The cost of a steady load in small and large fleets."""
    for row in fleet_load.main(1_000.0, 20.0 if full else 6.0):
        yield Figure(f"1,000 readings/s of {row['units']} units", float(row["cpu_share"]), 0.6, "of a core", False,
                     float(row["ratio"]))  # fmt: skip
    yield Figure("  its memory", float(row["rss_mb"]), 600, "MB")
    for row in fleet_load.histories(1_000.0, 20.0 if full else 6.0):
        name = f"  of 100 units on {row['days']} days of history"
        yield Figure(name, float(row["cpu_share"]), 0.6, "of a core", False, float(row["ratio"]))


def latency(full: bool) -> Iterator[Figure]:
    """From a reading to its ward's signal."""
    for row in signal_latency.main() if full else ():
        yield Figure(f"signal on {row['broker']}, 99 %", float(row["p99_ms"]), 1_000, "ms")


def replays(full: bool) -> Iterator[Figure]:
    """Recorded readings through the rules."""
    for row in replay_rate.main(200, 24) if full else replay_rate.main(100, 6):
        yield Figure(f"replay, {row['fleet']}", float(row["jobs_per_s"]), 250_000, "readings/s", True,
                     float(row["ratio"]))  # fmt: skip


def reading_back(full: bool) -> Iterator[Figure]:
    """What screens ask for while readings come in."""
    for row in read_back.main(500, 365 if full else 60):
        yield Figure(str(row["question"]), float(row["ms"]), float(row["limit_ms"]), "ms")


def disk(full: bool) -> Iterator[Figure]:
    """What a reading takes, kept and written."""
    for row in disk_size.main(100, 6 if full else 1):
        name, each = row["table"], float(row["bytes_per_reading"])
        if name == "all":
            yield Figure("kept, a year of 100 units", float(row["year_gb"]), 32, "GB", False, float(row["ratio"]))
        elif name == "written to the device":
            yield Figure("written, of 100 units", each, 10_000, "B a reading")


def house(full: bool) -> Iterator[Figure]:
    """Everything for 50 units."""
    for row in small_house.main(50, 60.0 if full else 15.0):
        if row["process"] == "all":
            yield Figure("all processes for 50 units", float(row["pss_mb"]), 512, "MB")
            yield Figure("  their processor time", float(row["cpu_share"]), 0.15, "of a core")
        elif row["process"] == "start-up":
            yield Figure("  start-up to the first screen", float(row["seconds"]), 5, "s")


PARTS: tuple[Callable[[bool], Iterator[Figure]], ...] = (
    throughput,
    fleets,
    latency,
    replays,
    reading_back,
    disk,
    house,
)


def main(full: bool = False) -> None:
    """Measure and print, each figure as soon as it is there."""
    libraries = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    sys.stdout.write(f"{platform.machine()}, {os.cpu_count()} cores, {platform.system()} {platform.release()}, Python "
                     f"{platform.python_version()}, SQLite {sqlite3.sqlite_version}, {libraries}; load before: "
                     f"{os.getloadavg()[0]:.1f}\n\n")  # fmt: skip
    sys.stdout.write(f"{'figure':46}{'measured':>14} {'':14}{'limit':20}{'peer':>7}  reached\n")
    for part in PARTS:
        for figure in part(full):
            sys.stdout.write(figure.line)
            sys.stdout.flush()


if __name__ == "__main__":
    main("--full" in sys.argv[1:])
