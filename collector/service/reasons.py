"""Why a task is planned after its due date, or not at all: one plain sentence for each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from typing import Final

import msgspec

from collector.service import ledger as books
from collector.service.jobs import CANNOT_SPARE, TOO_LONG, Span
from collector.service.ledger import Ledger
from collector.service.supply import WardSupply
from collector.service.workload import Job
from collector.site import Site

OVERDUE: Final = "overdue"
NO_DAY: Final = "no-day"
SET: Final = "set"
GROUPED: Final = "grouped"


class Deferral(msgspec.Struct, frozen=True, kw_only=True):
    """A task planned on `day` (None: not in these weeks) though it is due before; `reason` is a short code."""

    unit: str
    ward: str
    task: str
    title: str
    due: date
    day: date | None
    reason: str
    said: str


def deferrals(site: Site, ledger: Ledger, span: Span, supply: Mapping[str, WardSupply]) -> list[Deferral]:
    """Every task that is late or left out, the earliest due first."""
    found = []
    for place, (job, day) in enumerate(zip(ledger.load.jobs, ledger.days, strict=True)):
        if day is None or day > job.due:
            reason = _reason(ledger, place)
            found.append(Deferral(
                unit=job.unit, ward=job.ward, task=job.task, title=job.title, due=span.day(job.due),
                day=None if day is None else span.day(day), reason=reason,
                said=_said(site, ledger, job, reason, span, supply),
            ))  # fmt: skip
    return sorted(found, key=lambda one: (one.due, one.unit, one.task))


def _reason(ledger: Ledger, place: int) -> str:
    """The bound that is met on most of the days that would have been better."""
    job, day = ledger.load.jobs[place], ledger.days[place]
    if job.refused:
        return job.refused
    if place in ledger.load.placed:
        return SET
    ledger.take(place)
    better = [other for other in job.days if other <= job.due or day is None or other < day]
    met = Counter(why for other in better if (why := ledger.why_not(place, other)))
    if day is not None:
        ledger.put(place, day)
    if met:
        return met.most_common(1)[0][0]
    if better:
        return GROUPED
    return OVERDUE if job.due < 0 or day is not None else NO_DAY


def _said(site: Site, ledger: Ledger, job: Job, reason: str, span: Span, supply: Mapping[str, WardSupply]) -> str:
    ward = site.ward(job.ward).title
    match reason:
        case books.HOURS:
            return "technicians' hours are used up by what is due earlier or can be done together"
        case books.WARD:
            return f"{ward} has no more time outside its quiet hours for one unit after the other"
        case books.TIMES:
            return f"no time of day is left between the visits of that day and the quiet hours of {ward}"
        case books.PARTS:
            return _parts_said(site, ledger, job, span)
        case books.GAS:
            return f"the cylinders of {ward} are needed for other visits in these weeks; have them filled"
        case _:
            return _other_said(ward, job, reason, supply)


def _other_said(ward: str, job: Job, reason: str, supply: Mapping[str, WardSupply]) -> str:
    if reason == CANNOT_SPARE:
        there = supply[job.ward]
        return (f"{ward} cannot spare it: {there.demand_lpm:.1f} L/min in use, the other units are known to hold "
                f"{there.rest_lpm(job.unit):.1f}, cylinders give {there.backup_l:.0f} L, needed {job.gas_l:.0f} L; "
                "lend the ward a proven unit or fill its cylinders")  # fmt: skip
    return {
        TOO_LONG: f"{job.minutes} min are longer than a technician's day or the ward's open hours; split the task",
        OVERDUE: "it was overdue, or fell due before a working day, when the plan began",
        SET: "its day was set by people",
        GROUPED: "it goes with other work on the unit; a visit of its own would be one more",
    }.get(reason, "no working day is left for it in these weeks")


def _parts_said(site: Site, ledger: Ledger, job: Job, span: Span) -> str:
    shelves = ledger.load.shelves
    short = [(part, shelves[part]) for part, count in job.parts
             if part in shelves and ledger.parts[part] + count > shelves[part].stock]  # fmt: skip
    names = {part.id: part.title for part in site.parts}
    said = [f"{names.get(part, part)}: {shelf.stock} in stock, all planned for; more by "
            f"{span.day(shelf.more_from).isoformat()} if ordered now" for part, shelf in short]  # fmt: skip
    return "; ".join(said) or "its parts are not in stock"
