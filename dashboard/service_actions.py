"""What people do to units, parts and cylinders, as journal entries; `access.write` adds them to the journal.

Rules of this file: pure; every entry says who, in which role; nothing is made when a name, a role or something that a
reader of the record needs is missing: Refused says what, and the way out. Taking out and returning: `actions`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from math import isfinite
from typing import Any, Final, NamedTuple

from collector.backup.gauge import GaugeError, entered_text, gauge_kpa
from collector.people.acts import ORIGIN
from collector.people.rights import RIGHTS, may_task, may_visit
from collector.rules import entries
from collector.rules.alarms import Alarm
from collector.rules.catalogue import CAUSES
from collector.rules.entries import JournalEntry
from collector.service.proof import Measured, NotUsable, judge_proof, today_of, usable_analyser
from collector.service.work import WorkOrder, new_work_id
from collector.site import Cylinder, Site, Task
from dashboard import refusals
from dashboard.actions import TEXT_MAX, Person, Refused, named, reason_of

#: Who may write which kind; tasks and visits are narrowed by `may_task` and `may_visit`.
MAY: Final = RIGHTS
MINUTES_MOST: Final = 24 * 60.0
PIECES_MOST: Final = 10_000


class Done(NamedTuple):
    """What came of a task: one of entries.OUTCOMES; meter_h is the unit's hour meter, parts how many of each."""

    outcome: str = entries.DONE
    meter_h: float | None = None
    minutes: float | None = None
    parts: Mapping[str, int] = {}
    note: str = ""


class Findings(NamedTuple):
    """What closes a work order; cause is one of catalogue.CAUSES."""

    fault_found: str
    cause: str
    action: str
    parts: Mapping[str, int]
    minutes: float


def do_task(site: Site, unit: str, task: Task, person: Person, now_ms: int, done: Done) -> JournalEntry:
    """A task was done, or the unit was not found, or it was put off (which needs a reason in `note`)."""
    if done.outcome not in entries.OUTCOMES:
        raise ValueError(f"'{done.outcome}' is none of {entries.OUTCOMES}")
    who = _allowed(person, may_task(task, done.outcome), task.title)
    if task.proof and done.outcome == entries.DONE:
        raise Refused(refusals.CHECK_FOR_ITSELF)
    note = reason_of(done.note) if done.outcome == entries.PUT_OFF else _tidy(done.note)
    body: dict[str, Any] = {
        "task": task.id, "outcome": done.outcome,
        "meter_h": None if done.meter_h is None else _number("Hour meter", done.meter_h, 1e6),
        "minutes": None if done.minutes is None else _number("Minutes", done.minutes, MINUTES_MOST),
        "parts": _parts(site, done.parts), "note": note,
    }  # fmt: skip
    return _of_unit(site, entries.TASK_DONE, unit, who, now_ms, body)


def open_work(
    site: Site, unit: str, person: Person, now_ms: int, why: str, *, taken: Collection[str],
    alarm: Alarm | None = None, task: str = "",
) -> JournalEntry:  # fmt: skip
    """Open a work order, from an alarm or a due task; `taken` are the ids of all orders so far (work.work_orders)."""
    who = _allowed(person, MAY[entries.WORK_OPENED], "A work order")
    work = new_work_id(unit, today_of(site, now_ms), taken)
    body: dict[str, Any] = {"work": work, "why": reason_of(why), "condition": alarm.condition if alarm else ""}
    if task:
        body["task"] = task
    if alarm is not None:
        body |= {"raised_ms": alarm.raised_ms, "event_seq": alarm.event_seq}
    return _of_unit(site, entries.WORK_OPENED, unit, who, now_ms, body)


def close_work(site: Site, order: WorkOrder, person: Person, now_ms: int, found: Findings) -> JournalEntry:
    """Close a work order with what was found and done."""
    who = _allowed(person, MAY[entries.WORK_CLOSED], "Closing a work order")
    if not order.is_open:
        raise Refused(refusals.work_closed(order.work))
    if found.cause not in CAUSES:
        raise ValueError(f"'{found.cause}' is none of {CAUSES}")
    fault, action = _tidy(found.fault_found), _tidy(found.action)
    if not fault:
        raise Refused(refusals.FAULT_FIRST)
    if not action:
        raise Refused(refusals.ACTION_FIRST)
    body = {
        "work": order.work, "fault_found": fault, "cause": found.cause, "action": action,
        "parts": _parts(site, found.parts), "minutes": _number("Minutes", found.minutes, MINUTES_MOST),
    }  # fmt: skip
    return _of_unit(site, entries.WORK_CLOSED, order.unit, who, now_ms, body)


def prove(
    site: Site, unit: str, person: Person, now_ms: int, analyser: str, measured: Measured,
    order: WorkOrder | None = None,
) -> JournalEntry:  # fmt: skip
    """A check of purity at rated flow: judged here, with an analyser whose calibration is in date, else Refused."""
    who = _allowed(person, MAY[entries.PURITY_PROOF], "A check of purity")
    if order is not None and order.unit != unit:
        raise Refused(refusals.other_unit(order.work, order.unit))
    _known_unit(site, unit)
    try:
        by = usable_analyser(site, analyser, now_ms)
        judged = judge_proof(site.model_of(unit), by, measured)
    except NotUsable as error:
        raise Refused(str(error)) from error
    body: dict[str, Any] = {
        "analyser": by.id, **measured._asdict(), "uncertainty_pct": judged.uncertainty_pct, "result": judged.result,
        "limit_pct": judged.limit_pct, "why": judged.why, "calibrated": str(by.calibrated),
    }  # fmt: skip
    if order is not None:
        body["work"] = order.work
    return _of_unit(site, entries.PURITY_PROOF, unit, who, now_ms, body)


def read_cylinder(
    site: Site, cylinder: Cylinder, person: Person, now_ms: int, value: float, unit: str
) -> JournalEntry:  # fmt: skip
    """A cylinder's gauge was read, in one of gauge.UNITS; the record keeps it as it was entered too."""
    who = _allowed(person, MAY[entries.CYLINDER_READ], "Reading a cylinder")
    try:
        kpa = gauge_kpa(value, unit, cylinder)
    except GaugeError as error:
        raise Refused(str(error)) from error
    body = {"cylinder": cylinder.id, "kpa": round(kpa, 1), "entered": entered_text(value, unit)}
    return _entry(entries.CYLINDER_READ, who, now_ms, body, ward=cylinder.ward)


def move_part(site: Site, part: str, by: int, why: str, person: Person, now_ms: int) -> JournalEntry:
    """Pieces came or went otherwise than by work; service.stock says which reasons mean more than a number."""
    who = _allowed(person, MAY[entries.PART_MOVED], "Moving parts")
    known = site.part(part)
    if known is None:
        raise Refused(refusals.no_such("part", part))
    if by != int(by) or not 0 < abs(by) <= PIECES_MOST:
        raise Refused(refusals.NO_MOVE)
    return _entry(entries.PART_MOVED, who, now_ms, {"part": known.id, "by": int(by), "why": reason_of(why)})


def set_visit(
    site: Site, visit: str, day: str, tasks: Sequence[tuple[str, str]], state: str, person: Person, now_ms: int,
    why: str = "",
) -> JournalEntry:  # fmt: skip
    """Lock, move, cancel or finish a visit; tasks are (unit, task id), and one that is moved or cancelled says why."""
    if state not in entries.VISITS:
        raise ValueError(f"'{state}' is none of {entries.VISITS}")
    who = _allowed(person, may_visit(state), "Planning a visit")
    try:
        on = date.fromisoformat(day)
    except ValueError as error:
        raise Refused(refusals.WHEN) from error
    if not tasks:
        raise Refused(refusals.NOTHING_PLANNED)
    for unit, _ in tasks:
        _known_unit(site, unit)
    listed = [{"unit": unit, "task": task} for unit, task in tasks]
    said = reason_of(why) if state in ("moved", "cancelled") else _tidy(why)
    body = {"visit": visit, "day": on.isoformat(), "tasks": listed, "state": state, "why": said}
    return _entry(entries.VISIT, who, now_ms, body, ward=site.ward_of(tasks[0][0]).id)


def _allowed(person: Person, roles: frozenset[str], what: str) -> Person:
    who = named(person)
    if who.role not in roles:
        raise Refused(refusals.not_theirs(what, roles))
    return who


def _known_unit(site: Site, unit: str) -> None:
    if site.unit(unit) is None:
        raise Refused(refusals.no_such("unit", unit))


def _of_unit(site: Site, kind: str, unit: str, who: Person, now_ms: int, body: dict[str, Any]) -> JournalEntry:
    _known_unit(site, unit)
    return _entry(kind, who, now_ms, body, unit=unit, ward=site.ward_of(unit).id)


def _entry(
    kind: str, who: Person, now_ms: int, body: dict[str, Any], unit: str = "", ward: str = ""
) -> JournalEntry:  # fmt: skip
    return JournalEntry(
        at_ms=now_ms, kind=kind, unit=unit, ward=ward, who=who.name, role=who.role, origin=ORIGIN, body=body
    )


def _parts(site: Site, parts: Mapping[str, int]) -> dict[str, int]:
    """Pieces by part; a file without any [[part]] keeps no stock, and parts are named freely."""
    counted: dict[str, int] = {}
    for name, pieces in parts.items():
        part = site.part(name)
        if site.parts and part is None:
            raise Refused(refusals.no_such("part", name))
        if pieces != int(pieces) or not 0 < pieces <= PIECES_MOST:
            raise Refused(refusals.no_number(f"Pieces of {name}", "1", f"{PIECES_MOST:,}"))
        key = part.id if part else name
        counted[key] = counted.get(key, 0) + int(pieces)
    return counted


def _number(what: str, value: float, most: float) -> float:
    if not (isfinite(value) and 0.0 <= value <= most):
        raise Refused(refusals.no_number(what, "0", f"{most:,.0f}"))
    return float(value)


def _tidy(text: str) -> str:
    return " ".join(text.split())[:TEXT_MAX]
