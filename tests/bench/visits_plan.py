"""Plans of visits beside the same work by due date, with and without grouping: `python -m tests.bench.visits_plan`.

Fleets are invented: the usual intervals, each unit at its own point of them, stock for some of the parts. Add unit
counts as arguments for other fleets.
"""

from __future__ import annotations

import platform
import sys
import time
from collections.abc import Iterator
from importlib.metadata import version

from collector.service.greedy import by_due_date
from collector.service.improve import improve
from collector.service.scores import Score, score
from collector.service.visits import SECONDS
from collector.service.workload import Workload
from tests.collector.service.loads import hospital

FLEETS = ((24, 4), (100, 12), (500, 12))


def lines(load: Workload, name: str) -> Iterator[str]:
    """A fleet's three ways, row by row."""
    for way, grouped in (("by due date", False), ("... grouped", True)):
        began = time.perf_counter()
        figures = score(load, by_due_date(load, grouped=grouped).days)
        yield row(name, way, figures, time.perf_counter() - began, "")
    began, cpu = time.perf_counter(), time.process_time()
    found = improve(load, SECONDS)
    seconds, cpu = time.perf_counter() - began, time.process_time() - cpu
    figures = score(load, found.ledger.days)
    yield row(name, "plan", figures, seconds, f"{1 - found.bound / figures.cost:8.2%}{cpu:8.1f} s")


def row(name: str, way: str, figures: Score, seconds: float, more: str) -> str:
    """One way's figures."""
    return (f"{name:18}{way:14}{figures.missed:8}{figures.late_days:11}{figures.unplanned:10}{figures.visits:8}"
            f"{figures.trips:7}{figures.cost:10.0f}{seconds:8.1f} s{more}\n")  # fmt: skip


def main() -> None:
    """Measure and print."""
    fleets = [(int(units), 12) for units in sys.argv[1:]] or FLEETS
    sys.stdout.write(f"{platform.machine()}, Python {platform.python_version()}, scipy {version('scipy')}\n\n")
    sys.stdout.write(f"{'fleet':18}{'way':14}{'missed':>8}{'days late':>11}{'left out':>10}{'visits':>8}{'trips':>7}"
                     f"{'points':>10}{'took':>10}{'gap':>8}{'CPU':>10}\n")  # fmt: skip
    for units, weeks in fleets:
        for line in lines(hospital(units, weeks), f"{units} units, {weeks} wk"):
            sys.stdout.write(line)
            sys.stdout.flush()


if __name__ == "__main__":
    main()
