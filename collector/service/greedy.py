"""The plan that anybody would make by hand: by due date, each task where its unit is visited anyhow, else just in time.

It is where the optimisation starts from and what it is measured against.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from collector.service.ledger import Ledger
from collector.service.workload import Workload


def by_due_date(load: Workload, *, grouped: bool = True) -> Ledger:
    """Put every job, the earliest due first, on the last day in time that has room, else on the first after it.

    grouped: a day on which its unit is visited already goes before others.
    """
    ledger = Ledger(load)
    order = sorted(range(len(load.jobs)), key=lambda place: (load.jobs[place].due, load.jobs[place].unit, place))
    for place in order:
        if place not in load.placed and (day := _best_day(ledger, place, grouped)) is not None:
            ledger.put(place, day)
    return ledger


def complete(ledger: Ledger, places: Sequence[int], likely: Mapping[int, int | None]) -> None:
    """Put these jobs in this order, each on its likely day if that has room, else as by due date."""
    for place in places:
        day = likely.get(place)
        if day is None or ledger.why_not(place, day):
            day = _best_day(ledger, place, grouped=True)
        if day is not None:
            ledger.put(place, day)


def _best_day(ledger: Ledger, place: int, grouped: bool) -> int | None:
    job = ledger.load.jobs[place]
    in_time = [day for day in reversed(job.days) if day <= job.due]
    if grouped:
        in_time.sort(key=lambda day: not ledger.visits.get((job.unit, day)))
    late = [day for day in job.days if day > job.due]
    return next((day for day in (*in_time, *late) if not ledger.why_not(place, day)), None)
