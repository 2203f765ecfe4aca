"""The plan of visits: which unit on which day, with what, and why anything has to wait.

Every bound holds for whatever the plan chooses; visits that people have set stand, and say so where they break one. It
is never worse than the plan by due date, in due dates missed and in visits, and states how far it may be from the best.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

import msgspec
from msgspec.structs import replace

from collector.service.agreed import Agreed
from collector.service.due import DueTask
from collector.service.greedy import by_due_date
from collector.service.improve import Improved, improve
from collector.service.jobs import Span, workload
from collector.service.ledger import Ledger
from collector.service.reasons import Deferral, deferrals
from collector.service.scores import Score, score
from collector.service.solve import OPTIMAL_GAP
from collector.service.supply import WardSupply
from collector.service.timetable import timetable
from collector.service.workload import SETUP_MIN
from collector.site import Site

#: Seconds of the solver's time for a plan.
SECONDS = 22.0


class PlannedTask(msgspec.Struct, frozen=True, kw_only=True):
    """A task of a visit; late_days is 0 when it is in time."""

    task: str
    title: str
    due: date
    late_days: int
    minutes: int
    takes_unit_out: bool
    parts: dict[str, int]


class Visit(msgspec.Struct, frozen=True, kw_only=True):
    """One unit on one day; start_min is a proposed minute of the day in the facility's time (None: still open).

    minutes includes fetching the unit and changing over; out_min is how long it gives no oxygen, gas_l what cylinders
    give meanwhile. state is "planned", "locked" or "moved"; `cautions` say what a visit that people set does not keep,
    and what is not known of its ward.
    """

    visit: str
    unit: str
    ward: str
    day: date
    start_min: int | None
    minutes: int
    out_min: int
    gas_l: float
    tasks: tuple[PlannedTask, ...]
    state: str = "planned"
    why: str = ""
    cautions: tuple[str, ...] = ()


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """Visits by day and time, and what has to wait. gap is the share by which the plan's points may be from the best.

    narrow: the gap is to the best of plans in which tasks far from their due dates keep to a weekday of their ward,
    since there was no time for more. orders: pieces of each part, by id, that the plan needs beyond the stock.
    `by_due_date` is the plain plan's score.
    """

    first: date
    weeks: int
    visits: tuple[Visit, ...]
    deferred: tuple[Deferral, ...]
    orders: dict[str, int]
    score: Score
    by_due_date: Score
    bound: float
    gap: float
    optimal: bool
    narrow: bool


def plan_visits(
    site: Site,
    dues: Sequence[DueTask],
    supply: Mapping[str, WardSupply],
    stock: Mapping[str, int],
    from_day: date,
    weeks: int,
    agreed: Sequence[Agreed] = (),
    *,
    seconds: float = SECONDS,
) -> Plan:
    """Plan so many weeks from a day on; stock is pieces by part id, `agreed` what people have set."""
    span = Span(from_day, weeks)
    load = workload(site, dues, supply, stock, span, agreed)
    found = improve(load, seconds)
    ledger = found.ledger
    mine = score(load, ledger.days)
    gap = _gap(found, mine)
    return Plan(
        first=from_day, weeks=weeks, visits=tuple(_visits(ledger, span, supply, agreed)),
        deferred=tuple(deferrals(site, ledger, span, supply)), orders=_orders(ledger), score=mine,
        by_due_date=score(load, by_due_date(load).days), bound=round(found.bound, 3), gap=gap,
        optimal=found.proven or (gap <= OPTIMAL_GAP and not found.narrow), narrow=found.narrow,
    )  # fmt: skip


def _gap(found: Improved, mine: Score) -> float:
    return round(max(0.0, 1 - found.bound / mine.cost), 6) if mine.cost > 0 else 0.0


def _orders(ledger: Ledger) -> dict[str, int]:
    used: Counter[str] = Counter()
    for job, day in zip(ledger.load.jobs, ledger.days, strict=True):
        if day is not None:
            used.update(dict(job.parts))
    shelves = ledger.load.shelves
    return {part: used[part] - shelf.stock for part, shelf in shelves.items() if used[part] > shelf.stock}


def _visits(ledger: Ledger, span: Span, supply: Mapping[str, WardSupply], agreed: Sequence[Agreed]) -> list[Visit]:
    found = []
    for day in sorted(day for day, places in ledger.on.items() if places):
        times = timetable(ledger.load, ledger.slots(day)) or {}
        units = {ledger.load.jobs[place].unit for place in ledger.on[day]}
        visits = [_warned(_visit(ledger, span, unit, day, times.get(unit), agreed), supply) for unit in units]
        found += sorted(visits, key=lambda one: (one.start_min is None, one.start_min, one.ward, one.unit))
    return found


def _visit(ledger: Ledger, span: Span, unit: str, day: int, start_min: int | None, agreed: Sequence[Agreed]) -> Visit:
    places = sorted(ledger.visits[unit, day], key=lambda place: ledger.load.jobs[place].task)
    jobs = [ledger.load.jobs[place] for place in places]
    on = span.day(day)
    said = next((one for one in agreed if one.stands and one.day == on and any(u == unit for u, _ in one.tasks)), None)
    out_min = sum(job.minutes for job in jobs if job.takes_out)
    tasks = tuple(
        PlannedTask(task=job.task, title=job.title, due=span.day(job.due), late_days=max(0, day - job.due),
                    minutes=job.minutes, takes_unit_out=job.takes_out, parts=dict(job.parts))
        for job in jobs
    )  # fmt: skip
    return Visit(
        visit=said.visit if said else f"{unit}-{on.isoformat()}", unit=unit, ward=jobs[0].ward, day=on,
        start_min=start_min, minutes=SETUP_MIN + sum(job.minutes for job in jobs), out_min=out_min,
        gas_l=round(sum(job.gas_l for job in jobs), 1), tasks=tasks, state=said.state if said else "planned",
        why=said.why if said else "", cautions=_cautions(ledger, places, day, start_min) if said else (),
    )  # fmt: skip


def _warned(visit: Visit, supply: Mapping[str, WardSupply]) -> Visit:
    """The visit with a caution where nobody knows all that its ward uses while a unit is to be taken out."""
    ward = supply.get(visit.ward)
    if not visit.out_min or ward is None or not ward.unheard:
        return visit
    said = f"what its ward uses is not all known, nothing is heard of {', '.join(ward.unheard)}: ask the ward first"
    return replace(visit, cautions=(*visit.cautions, said))


def _cautions(ledger: Ledger, places: Sequence[int], day: int, start_min: int | None) -> tuple[str, ...]:
    """What a visit that people have set does not keep."""
    load, jobs = ledger.load, [ledger.load.jobs[place] for place in places]
    ward = jobs[0].ward
    found = [
        ("the ward cannot spare this unit", any(job.gas_l > load.gas_l.get(ward, 0.0) for job in jobs)),
        ("more than technicians' hours are planned on this day", ledger.minutes[day] > load.minutes),
        ("no time of day is free for all visits of this day", start_min is None),
        ("not all parts are in stock by then", any(
            part in load.shelves and day < load.shelves[part].more_from
            and ledger.parts[part] > load.shelves[part].stock for job in jobs for part, _ in job.parts)),
    ]  # fmt: skip
    return tuple(said for said, broken in found if broken)
