"""What is due on each unit and when: by run hours, by calendar, by condition or by standing idle, whichever first.

Hours ahead are forecast from the unit's own use (running.py), so a moment by hours is a range. Every interval counts
from when the task was last done, late or early. Without any record of it, hours count from new as the unit's meter
tells, and days from the date it was put in service, else from when it was first followed. A unit that is in store
(in_service is false) runs no hours; its calendar goes on. Time in which nobody heard of a unit makes no task due by its
median.

A cause that the rules told stays a reason for its task until the task is done, work on the unit is closed or a check
passes: a fault does not go away because the unit was switched off. Causes that lie outside the unit, and conditions
named themselves, count as long as they stand. What still stands two days after the task was done is a reason again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Final, Literal, NamedTuple
from zoneinfo import ZoneInfo

import msgspec

from collector.rules.entries import COULD_NOT_LOCATE, PUT_OFF, JournalRow
from collector.rules.limits import DAY
from collector.rules.unitrow import RUNNING, WARMING_UP, UnitRow
from collector.service.hoursdue import Hours, hours_of
from collector.service.record import Record, Sign, UnitRecord, record_of
from collector.service.tasks import mark_of, tasks_of
from collector.site import Site, Task, Unit

Why = Literal["hours", "calendar", "condition", "idle"]
#: Nobody plans further ahead: tasks whose median lies beyond this are left out.
HORIZON_DAYS: Final = 3 * 365
#: A condition that still stands so long after its task was done is a reason again.
_STILL_MS: Final = 2 * DAY
#: Causes that are none of the unit's own: a sag is over when it is over.
_OUTSIDE: Final = ("supply-voltage-low", "flow-above-rated")
#: An estimate of a unit's capacity tells a cause as long as it is no older than this.
_FRESH_MS: Final = DAY


class Moments(NamedTuple):
    """5 %, 50 % and 95 % points of a moment, in ms; p95 is None beyond the horizon. All one where it is certain."""

    p05: int
    p50: int
    p95: int | None


class DueTask(msgspec.Struct, frozen=True, kw_only=True):
    """One task of one unit and when it is due; overdue once the median has passed.

    `why` is what comes first and `sign` the cause or condition behind "condition". run_h are the hours run since it was
    last done (None: the task does not go by hours). last_done_ms is None when no record says it was ever done.
    could_not_locate and put_off count outcomes since then. `mark` says where a default is from, "" for a task of the
    site file. minutes is None where nothing says how long it takes.
    """

    unit: str
    ward: str
    task: str
    title: str
    why: Why
    due_ms: Moments
    overdue: bool
    sign: str = ""
    run_h: float | None = None
    last_done_ms: int | None = None
    could_not_locate: int = 0
    put_off: int = 0
    minutes: float | None = None
    parts: tuple[str, ...] = ()
    takes_unit_out: bool = True
    proof: bool = False
    by: str = "engineer"
    mark: str = ""


class _Reason(NamedTuple):
    why: Why
    p05: float
    p50: float
    p95: float
    sign: str = ""


def due_tasks(
    site: Site, rows: Iterable[JournalRow], units: Mapping[str, UnitRow], now_ms: int
) -> list[DueTask]:  # fmt: skip
    """Every task of every unit within the horizon, the soonest first; rows of any kind in the order of `seq`."""
    return dues_of(site, record_of(site, rows), units, now_ms)


def dues_of(site: Site, record: Record, units: Mapping[str, UnitRow], now_ms: int) -> list[DueTask]:
    """The same from a record that has been made already."""
    found = [due for unit in site.units for due in unit_dues(site, unit, record, units.get(unit.id), now_ms)]
    return sorted(found, key=lambda due: (due.due_ms.p50, due.unit, due.task))


def unit_dues(
    site: Site, unit: Unit, record: Record, row: UnitRow | None, now_ms: int, apart_from: Collection[str] = ()
) -> Iterator[DueTask]:
    """What is due on one unit, by anything but these signs; without its row, from the journal alone."""
    known = record.units.get(unit.id, UnitRecord())
    since_ms = _followed_since(site, unit, record, known, now_ms)
    hours = hours_of(unit, known, row, since_ms, now_ms)
    horizon_ms = now_ms + HORIZON_DAYS * DAY
    for task in tasks_of(site, unit.id):
        reasons = [reason for reason in _reasons(task, known, hours, row, since_ms, now_ms)
                   if reason.sign not in apart_from]  # fmt: skip
        if not reasons:
            continue
        first = min(reasons, key=lambda reason: reason.p50)
        if first.p50 > horizon_ms:
            continue
        p05, p95 = min(reason.p05 for reason in reasons), min(reason.p95 for reason in reasons)
        moments = Moments(round(min(p05, first.p50)), round(first.p50), round(p95) if p95 <= horizon_ms else None)
        yield _due(site, unit, task, known, first, moments, hours, now_ms)


def _due(
    site: Site, unit: Unit, task: Task, known: UnitRecord, first: _Reason, moments: Moments, hours: Hours, now_ms: int
) -> DueTask:
    missed = known.missed.get(task.id, {})
    return DueTask(
        unit=unit.id, ward=site.ward_of(unit.id).id, task=task.id, title=task.title, why=first.why, due_ms=moments,
        overdue=moments.p50 <= now_ms, sign=first.sign,
        run_h=round(hours.since(known.done.get(task.id)), 1) if task.every_h else None,
        last_done_ms=known.done_ms(task.id) or None, could_not_locate=missed.get(COULD_NOT_LOCATE, 0),
        put_off=missed.get(PUT_OFF, 0), minutes=task.minutes, parts=task.parts, takes_unit_out=task.takes_unit_out,
        proof=task.proof, by=task.by, mark=mark_of(task),
    )  # fmt: skip


def _followed_since(site: Site, unit: Unit, record: Record, known: UnitRecord, now_ms: int) -> int:
    """From when days count for a task that was never done."""
    if isinstance(unit.in_service, date):
        midnight = datetime.combine(unit.in_service, datetime.min.time(), ZoneInfo(site.facility.timezone))
        return int(midnight.timestamp() * 1000)
    if known.points:
        return known.points[0].at_ms
    return record.start_ms if record.start_ms is not None else now_ms


def _reasons(
    task: Task, known: UnitRecord, hours: Hours, row: UnitRow | None, since_ms: int, now_ms: int
) -> Iterator[_Reason]:
    done_ms = known.done_ms(task.id)
    if task.every_h:
        yield _Reason("hours", *hours.due(task.every_h, known.done.get(task.id)))
    if task.every_days:
        at_ms = (done_ms or since_ms) + task.every_days * DAY
        yield _Reason("calendar", at_ms, at_ms, at_ms)
    if task.idle_days and (ran_ms := _ran_ms(known, row)) < now_ms - DAY:
        at_ms = max(ran_ms or since_ms, done_ms) + task.idle_days * DAY
        yield _Reason("idle", at_ms, at_ms, at_ms)
    if task.proof and known.doubted_ms is not None and not known.in_hand:
        yield _Reason("condition", known.doubted_ms, known.doubted_ms, known.doubted_ms, known.doubt)
    for at_ms, sign in _signs(task, known, row, done_ms, now_ms):
        yield _Reason("condition", at_ms, at_ms, at_ms, sign)


def _ran_ms(known: UnitRecord, row: UnitRow | None) -> int:
    if row is not None and row.phase in (RUNNING, WARMING_UP) and row.last_ms is not None:
        return row.last_ms
    return known.ran_ms or 0


def _signs(
    task: Task, known: UnitRecord, row: UnitRow | None, done_ms: int, now_ms: int
) -> Iterator[tuple[int, str]]:  # fmt: skip
    for condition, sign in known.signs.items():
        name = sign.cause if sign.cause in task.condition else condition
        if name in task.condition:
            answered_ms = max(done_ms, known.mended_ms)
            at_ms = _asked_ms(sign, answered_ms, latched=name == sign.cause and name not in _OUTSIDE)
            if at_ms is not None and at_ms <= now_ms:
                yield at_ms, name
    now = row.capacity if row is not None else None
    if now is None or now.cause not in task.condition or now_ms - now.at_ms > _FRESH_MS:
        return
    if max(done_ms, known.mended_ms) < now.at_ms - _STILL_MS:
        yield now.at_ms, now.cause


def _asked_ms(sign: Sign, answered_ms: int, *, latched: bool) -> int | None:
    """Since when a sign asks for its task; None when it has been answered or is gone."""
    if sign.since_ms > answered_ms:
        return sign.since_ms if latched or sign.stands else None
    return answered_ms + _STILL_MS if sign.stands else None
