"""What a plan costs: the points that the optimisation weighs, and the figures that people compare.

A missed due date outweighs any number of visits that a day can hold; a day later outweighs a visit; a visit outweighs
a walk to its ward; doing a task too early wastes a share of its interval. The weights are ours, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec

from collector.service.workload import Days, Job, Workload

MISSED: Final = 1000.0
LATE_DAY: Final = 50.0
UNPLANNED: Final = 100.0
VISIT: Final = 20.0
TRIP: Final = 8.0
JOURNEY: Final = 30.0
#: A task done a whole interval too early costs as much as a visit.
EARLY_INTERVAL: Final = VISIT


class Score(msgspec.Struct, frozen=True, kw_only=True):
    """Figures of a plan: due dates missed, days late in all, tasks without a day, visits, ward trips, journeys."""

    cost: float
    missed: int
    late_days: int
    unplanned: int
    visits: int
    trips: int
    journeys: int

    @property
    def total(self) -> int:
        """Visits, due dates missed and tasks left out: what no plan may have more of than the one by due date."""
        return self.visits + self.missed + self.unplanned


def job_cost(job: Job, day: int | None, last: int) -> float:
    """Points for doing a job on a day, or (None) not at all; what was late before the plan began costs nothing more."""
    if day is None:
        return MISSED + UNPLANNED + LATE_DAY * job.weight * (last + 1 - max(job.due, -1))
    if day > job.due:
        return (MISSED if job.due >= 0 else 0.0) + LATE_DAY * job.weight * (day - max(job.due, -1))
    return job.early_cost * (job.due - day)


def score(load: Workload, days: Days) -> Score:
    """What a plan comes to; visits, trips and journeys that people have set count too."""
    pairs = list(zip(load.jobs, days, strict=True))
    visits = visits_of(pairs)
    trips = {(ward, day) for _, ward, day in visits}
    journeys = {(load.campus[ward], day) for ward, day in trips if ward in load.campus}
    late = [(load.last + 1 if day is None else day) - job.due for job, day in pairs if day is None or day > job.due]
    points = sum(job_cost(job, day, load.last) for job, day in pairs)
    return Score(
        cost=round(points + VISIT * len(visits) + TRIP * len(trips) + JOURNEY * len(journeys), 6),
        missed=len(late), late_days=sum(late), unplanned=sum(day is None for _, day in pairs),
        visits=len(visits), trips=len(trips), journeys=len(journeys),
    )  # fmt: skip


def visits_of(pairs: Iterable[tuple[Job, int | None]]) -> set[tuple[str, str, int]]:
    """Every (unit, ward, day) on which something is done."""
    return {(job.unit, job.ward, day) for job, day in pairs if day is not None}
