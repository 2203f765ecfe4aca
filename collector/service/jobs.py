"""From what is due to the work to be planned: each task as often as it falls due in these weeks, and its possible days.

With it every bound of the site: hours, quiet hours, parts, cylinders, what a ward can spare, and what people have set.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from math import ceil, floor
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from collector.service.agreed import Agreed
from collector.service.due import DueTask
from collector.service.scores import EARLY_INTERVAL
from collector.service.supply import WardSupply
from collector.service.tasks import task_of
from collector.service.workload import SHIFT_MIN, WORK_DAYS, Job, Shelf, Workload
from collector.site import UNASSIGNED, Site, Task

#: A task may be done so much of its interval early, to go with others (common practice, no source).
_EARLY_SHARE: Final = 1 / 3
#: Minutes for a task whose site file says none (a guess, no source).
_MINUTES: Final = 30
#: A sign of a fault weighs so much more than a date, day by day.
_SIGN_WEIGHT: Final = 2.0
_DAY_MIN: Final = 24 * 60
CANNOT_SPARE: Final = "cannot-spare"
TOO_LONG: Final = "too-long"


class Span(NamedTuple):
    """The days of a plan: its first day and how many weeks."""

    first: date
    weeks: int

    @property
    def last(self) -> int:
        """The number of the last day."""
        return 7 * self.weeks - 1

    @property
    def days(self) -> tuple[int, ...]:
        """The numbers of the working days."""
        return tuple(n for n in range(self.last + 1) if self.day(n).weekday() in WORK_DAYS)

    def day(self, number: int) -> date:
        """The date of a day."""
        return self.first + timedelta(days=number)

    def number(self, day: date) -> int:
        """The number of a date, negative before the plan."""
        return (day - self.first).days


def workload(
    site: Site,
    dues: Sequence[DueTask],
    supply: Mapping[str, WardSupply],
    stock: Mapping[str, int],
    span: Span,
    agreed: Sequence[Agreed] = (),
) -> Workload:
    """All that is to be planned; stock by part id. Tasks that the ward does itself need no visit and are left out."""
    zone = ZoneInfo(site.facility.timezone)
    minutes = round(60 * site.facility.technician_h_per_day)
    bare = Workload(jobs=(), last=span.last, days=span.days, minutes=minutes, quiet=_quiet(site))
    jobs: list[Job] = []
    for due in sorted(dues, key=lambda due: (due.due_ms.p50, due.unit, due.task)):
        unit, task = site.unit(due.unit), None
        if unit is not None and due.by != "ward":
            task = task_of(site, due.unit, due.task)
        if task is not None:
            number = span.number(datetime.fromtimestamp(due.due_ms.p50 / 1000, zone).date())
            jobs += _repeats(site, due, task, number, span, bare)
    jobs, placed = _placed(site, jobs, agreed, span)
    jobs = [_spared(job, supply) for job in jobs]
    shelves = {part.id: Shelf(max(0, stock.get(part.id, part.stock)), ceil(part.lead_days)) for part in site.parts}
    return Workload(
        jobs=tuple(jobs), last=bare.last, days=bare.days, minutes=minutes, quiet=bare.quiet, campus=_campus(site),
        travel_min=_travel(site), shelves=shelves, placed=placed,
        gas_l={ward: one.backup_l for ward, one in supply.items()},
    )  # fmt: skip


def _quiet(site: Site) -> dict[str, tuple[tuple[int, int], ...]]:
    found: dict[str, tuple[tuple[int, int], ...]] = {}
    for ward in site.wards:
        if ward.quiet_min is not None:
            a, b = ward.quiet_min
            found[ward.id] = ((a, b),) if a < b else ((0, b), (a, _DAY_MIN))
    return found


def _campus(site: Site) -> dict[str, str]:
    return {ward.id: ward.campus for ward in site.wards if ward.campus}


def _travel(site: Site) -> dict[str, int]:
    """Minutes of a day's travel to a campus: the longest that one of its wards names."""
    found: dict[str, int] = {}
    for ward in site.wards:
        if ward.campus:
            found[ward.campus] = max(found.get(ward.campus, 0), ceil(ward.travel_min))
    return found


def _repeats(site: Site, due: DueTask, task: Task, number: int, span: Span, bare: Workload) -> Iterator[Job]:
    """The task each time that it falls due in these weeks; only calendar tasks are known to come again."""
    every = task.every_days or (task.every_h / 24 if task.every_h else None)
    minutes = ceil(due.minutes or task.minutes or _MINUTES)
    ward = due.ward or UNASSIGNED
    refused = TOO_LONG if minutes > min(bare.minutes, bare.open_min(ward), SHIFT_MIN[1] - SHIFT_MIN[0]) else ""
    while number <= span.last:
        early = floor(every * _EARLY_SHARE) if every else span.last + 1
        again = task.every_days if due.why != "idle" else None
        shut = span.last if again is None else min(span.last, max(0, number) + ceil(again) - floor(early) - 1)
        days = tuple(day for day in span.days if number - early <= day <= max(shut, number))
        yield Job(
            unit=due.unit, ward=ward, task=due.task, title=due.title, due=number, minutes=minutes, refused=refused,
            days=() if refused else days, takes_out=due.takes_unit_out, parts=_parts(site, due.parts),
            early_cost=EARLY_INTERVAL / every if every else 0.0, weight=_SIGN_WEIGHT if due.sign else 1.0,
        )  # fmt: skip
        if again is None:
            return
        number = max(0, number) + max(1, ceil(again))


def _parts(site: Site, names: Iterable[str]) -> tuple[tuple[str, int], ...]:
    """Parts by id with how many; a name that the site does not stock stays as it is."""
    ids = {part.name: part.id for part in site.parts if part.name}
    counts: dict[str, int] = {}
    for name in names:
        part = ids.get(name, name)
        counts[part] = counts.get(part, 0) + 1
    return tuple(sorted(counts.items()))


def _spared(job: Job, supply: Mapping[str, WardSupply]) -> Job:
    """The job with what its ward would lack meanwhile; without days where the cylinders cannot give that."""
    ward = supply.get(job.ward)
    short = ward.shortfall_lpm(job.unit) if ward is not None and job.takes_out else 0.0
    if ward is None or short <= 0:
        return job
    job = replace(job, shortfall_lpm=short)
    return replace(job, days=(), refused=job.refused or CANNOT_SPARE) if job.gas_l > ward.backup_l else job


def _placed(site: Site, jobs: list[Job], agreed: Sequence[Agreed], span: Span) -> tuple[list[Job], dict[int, int]]:
    """Jobs with what people have set: days that stand, and days that were cancelled."""
    placed: dict[int, int] = {}
    for one in agreed:
        number = span.number(one.day)
        if one.state == "cancelled":
            for place, job in enumerate(jobs):
                if (job.unit, job.task) in one.tasks and number in job.days:
                    jobs[place] = replace(job, days=tuple(day for day in job.days if day != number))
        elif one.stands and 0 <= number <= span.last:
            for unit, task in one.tasks:
                if (found := _nearest(site, jobs, placed, unit, task, number)) is not None:
                    placed[found] = number
    return jobs, placed


def _nearest(
    site: Site, jobs: list[Job], placed: Mapping[int, int], unit: str, task_id: str, number: int
) -> int | None:
    """The job that a set visit means; one is made when nothing was due, None when the unit or task is not known."""
    places = [place for place, job in enumerate(jobs)
              if (job.unit, job.task) == (unit, task_id) and place not in placed]  # fmt: skip
    if places:
        return min(places, key=lambda place: abs(jobs[place].due - number))
    task = task_of(site, unit, task_id) if site.unit(unit) is not None else None
    if task is None:
        return None
    jobs.append(Job(unit=unit, ward=site.ward_of(unit).id, task=task_id, title=task.title, due=number, days=(number,),
                    minutes=ceil(task.minutes or _MINUTES), takes_out=task.takes_unit_out,
                    parts=_parts(site, task.parts)))  # fmt: skip
    return len(jobs) - 1
