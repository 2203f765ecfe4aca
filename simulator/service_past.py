"""What people of the simulated hospital wrote down before the story: service done, checks, cylinders, parts, repairs.

All of it is invented, from the seed alone, and marked by its origin, `ORIGIN`. Every entry lies before the story and
none breaks the rules that people are held to: whoever opened a unit up checked it afterwards, with an analyser whose
calibration is good. Times are the working hours of a facility in UTC, which the demo's is.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any, Final, NamedTuple

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.service.proof import Measured, NotUsable, judge_proof, usable_analyser
from collector.service.work import new_work_id
from collector.site import Part, Person, Site, Task, Unit
from simulator.roster import meter_h

ORIGIN: Final = "simulator"
HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
#: How far back the weekly and monthly tasks were written down; rarer ones reach back to when a unit was put in service.
BACK_DAYS: Final = 92
_LATEST_MS: Final = 2 * HOUR_MS  # nothing was written in the last hours before the story
#: Tasks that somebody put off the last time, so that something is overdue.
_BEHIND: Final = frozenset({("tern", "purity-check"), ("hornbill", "alarm-test"), ("kite", "cabinet-filter")})
_OUT_AND_BACK: Final = (entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE)
_DRAWN_METER_H: Final = 4_000.0  # of a unit whose file says nothing


def service_past(site: Site, story_ms: int, seed: int, heard_ms: int | None = None) -> list[JournalEntry]:
    """The entries, in the order of their times; story_ms is when the story begins (ms since 1970).

    heard_ms is from when there are readings of the fleet: run hours of the days before are written down here too, as a
    collector would have. None: there are none before the story.
    """
    rng = random.Random(f"service {seed}")
    found = [entry for unit in site.units if unit.in_service is not False
             for entry in _of_unit(site, unit, story_ms, rng)]  # fmt: skip
    found += _repairs(site, story_ms, rng)
    found += _run_hours(site, found, story_ms, story_ms if heard_ms is None else heard_ms, rng)
    found += _cylinders(site, story_ms, rng)
    found += _deliveries(site, found, story_ms)
    return sorted((entry for entry in found if entry.at_ms < story_ms - _LATEST_MS), key=lambda entry: entry.at_ms)


def _of_unit(site: Site, unit: Unit, story_ms: int, rng: random.Random) -> Iterator[JournalEntry]:
    since_ms = _since_ms(unit, story_ms)
    for task in site.model_of(unit.id).task:
        if (every_ms := _every_ms(task)) is None:
            continue
        moments = list(_moments(since_ms, story_ms, every_ms, rng, weekends=task.by == "ward"))
        if (unit.id, task.id) in _BEHIND and moments:
            yield _missed(site, unit, task, moments.pop(), entries.PUT_OFF, "the ward could not spare it")
        for at_ms in moments:
            if task.proof:
                yield from _proof(site, unit, at_ms, rng)
                continue
            if rng.random() < 0.02:
                yield _missed(site, unit, task, at_ms, entries.COULD_NOT_LOCATE, "not in its ward during the round")
                at_ms += 3 * DAY_MS  # it is looked for again
            if at_ms < story_ms - 2 * _LATEST_MS:
                yield _done(site, unit, task, at_ms, rng)
                if task.takes_unit_out:
                    yield from _proof(site, unit, at_ms + HOUR_MS, rng)


def _since_ms(unit: Unit, story_ms: int) -> int:
    if isinstance(unit.in_service, date):
        since = datetime(unit.in_service.year, unit.in_service.month, unit.in_service.day, tzinfo=UTC)
        return round(since.timestamp() * 1000)
    return story_ms - BACK_DAYS * DAY_MS


def _every_ms(task: Task) -> int | None:
    """How often a task comes in a unit that always runs; None for one that only a condition makes due."""
    days = [days for days in (task.every_days, task.every_h / 24 if task.every_h else None) if days]
    return round(min(days) * DAY_MS) if days else None


def _moments(since_ms: int, story_ms: int, every_ms: int, rng: random.Random, *, weekends: bool) -> Iterator[int]:
    """When a task was done: about as often as it should be, a little early or late, in working hours."""
    at_ms = since_ms + round(every_ms * rng.uniform(0.85, 1.0))
    often = every_ms <= 30 * DAY_MS
    while at_ms < story_ms - DAY_MS // 2:
        day = at_ms // DAY_MS
        weekday = (day + 3) % 7  # 1970 began on a Thursday; 0 is Monday
        if not weekends and weekday > 4:
            day -= weekday - 4
        done_ms = day * DAY_MS + round(rng.uniform(8.5, 15.5) * HOUR_MS)
        if done_ms < story_ms - 2 * _LATEST_MS and (not often or at_ms > story_ms - BACK_DAYS * DAY_MS):
            yield done_ms  # early enough for the check that follows it
        at_ms += round(every_ms * rng.uniform(0.85, 1.05))


def _done(site: Site, unit: Unit, task: Task, at_ms: int, rng: random.Random) -> JournalEntry:
    body: dict[str, Any] = {
        "task": task.id, "outcome": entries.DONE, "note": "",
        "meter_h": round(meter_h(unit, _DRAWN_METER_H, at_ms), 1),
        "minutes": max(5, round((task.minutes or 15) * rng.uniform(0.8, 1.3))),
        "parts": {part.id: 1 for name in task.parts if (part := site.part(name)) is not None},
    }  # fmt: skip
    return _entry(entries.TASK_DONE, at_ms, _person(site, task.by, unit.ward), body, unit)


def _missed(site: Site, unit: Unit, task: Task, at_ms: int, outcome: str, note: str) -> JournalEntry:
    body = {"task": task.id, "outcome": outcome, "note": note}
    return _entry(entries.TASK_DONE, at_ms, _person(site, task.by, unit.ward), body, unit)


def _proof(
    site: Site, unit: Unit, at_ms: int, rng: random.Random, work: str = "", as_found_pct: float | None = None
) -> Iterator[JournalEntry]:
    """A check at rated flow; none where no analyser of the hospital may be used that day."""
    model = site.model_of(unit.id)
    as_left_pct = min(round(rng.gauss(93.4, 0.6), 1), 95.0)
    if as_found_pct is None:
        as_found_pct = round(as_left_pct - abs(rng.gauss(0, 0.2)), 1)
    measured = Measured(as_found_pct, as_left_pct, model.rated_flow_lpm)
    for choice in site.analysers:
        try:
            analyser = usable_analyser(site, choice.id, at_ms)
            judged = judge_proof(model, analyser, measured)
        except NotUsable:
            continue
        body = {**measured._asdict(), "analyser": analyser.id, "uncertainty_pct": judged.uncertainty_pct,
                "result": judged.result, "work": work, "limit_pct": judged.limit_pct, "why": judged.why,
                "calibrated": str(analyser.calibrated)}  # fmt: skip
        yield _entry(entries.PURITY_PROOF, at_ms, _person(site, "engineer"), body, unit)
        return


class _Repair(NamedTuple):
    """A repair of the past: of the fleet's `place`-th unit, opened so many days before the story."""

    place: int
    days_ago: float
    condition: str
    fault_found: str
    cause: str
    action: str
    part: str
    minutes: int
    as_found_pct: float
    out_h: float


_REPAIRS: Final = (
    _Repair(6, 78.3, "purity-amber", "intake felt grey with dust", "intake-blocked", "felt replaced, cabinet cleaned",
            "intake-filter", 40, 83.9, 5.0),
    _Repair(16, 51.6, "purity-red", "check valve of one bed leaked back", "valve-fault", "valves replaced",
            "valve-set", 75, 79.5, 27.0),
    _Repair(21, 33.4, "capacity-falling", "beds damp after a wet season without running", "sieve-wet",
            "sieve beds replaced", "sieve-pair", 170, 84.6, 54.0),
    _Repair(16, 24.7, "purity-red", "a valve seat had not been cleaned", "valve-fault", "seat cleaned, valves replaced",
            "valve-set", 60, 80.8, 7.5),
)  # fmt: skip
_STILL_OPEN: Final = (18, 1.7, "it hums louder than the others; fan to be looked at")


def _repairs(site: Site, story_ms: int, rng: random.Random) -> Iterator[JournalEntry]:
    """Repairs that are closed, each with its check, and a work order that is still open; all in units that are used."""
    who = _person(site, "engineer")
    units = [unit for unit in site.units if unit.in_service is not False]
    for repair in _REPAIRS:
        if repair.place < len(units):
            yield from _repair(site, units[repair.place], repair, story_ms - round(repair.days_ago * DAY_MS), who, rng)
    place, days_ago, why = _STILL_OPEN
    if place < len(units):
        at_ms = story_ms - round(days_ago * DAY_MS)
        body = {"work": _work_id(units[place], at_ms), "why": why, "condition": ""}
        yield _entry(entries.WORK_OPENED, at_ms, who, body, units[place])


def _repair(
    site: Site, unit: Unit, repair: _Repair, at_ms: int, who: Person, rng: random.Random
) -> Iterator[JournalEntry]:
    work, part = _work_id(unit, at_ms), site.part(repair.part)
    why = "told by the ward"
    opened = {"work": work, "why": why, "condition": repair.condition, "raised_ms": at_ms - 25 * 60_000}
    closed = {"work": work, "fault_found": repair.fault_found, "cause": repair.cause, "action": repair.action,
              "parts": {part.id: 1} if part else {}, "minutes": repair.minutes}  # fmt: skip
    end_ms = at_ms + round(repair.out_h * HOUR_MS)
    yield _entry(entries.WORK_OPENED, at_ms, who, opened, unit)
    yield _entry(entries.OUT_OF_SERVICE, at_ms + 60_000, who, {"reason": why, "for": "repair", "work": work}, unit)
    yield _entry(entries.WORK_CLOSED, end_ms - 30 * 60_000, who, closed, unit)
    yield from _proof(site, unit, end_ms - 10 * 60_000, rng, work, repair.as_found_pct)
    yield _entry(entries.RETURN_TO_SERVICE, end_ms, who, {"reason": "checked at rated flow, passed"}, unit)


def _work_id(unit: Unit, at_ms: int) -> str:
    return new_work_id(unit.id, datetime.fromtimestamp(at_ms / 1000, UTC).date(), ())


def _run_hours(
    site: Site, past: list[JournalEntry], story_ms: int, until_ms: int, rng: random.Random
) -> Iterator[JournalEntry]:
    """Daily hours of units that run day and night but for a change of bed, or a repair."""
    for unit in site.units:
        if unit.in_service is False:
            continue
        out = [entry.at_ms for entry in past if entry.unit == unit.id and entry.kind in _OUT_AND_BACK]
        first = max(_since_ms(unit, story_ms), story_ms - BACK_DAYS * DAY_MS) // DAY_MS + 1
        ran_h = 0.0
        for day in range(first, until_ms // DAY_MS + 1):
            at_ms = day * DAY_MS
            away_ms = sum(max(0, min(back_ms, at_ms) - max(out_ms, at_ms - DAY_MS))
                          for out_ms, back_ms in zip(out[::2], out[1::2], strict=True))  # fmt: skip
            ran_h += max(0.0, 24.0 * rng.uniform(0.94, 1.0) - away_ms / HOUR_MS) if day > first else 0.0
            body = {"observed_h": round(ran_h, 3), "inferred_h": 0.0, "unknown_h": 0.0,
                    "meter_h": round(meter_h(unit, _DRAWN_METER_H, at_ms), 1)}  # fmt: skip
            yield _entry(entries.SERVICE_HOURS, at_ms, None, body, unit)


def _cylinders(site: Site, story_ms: int, rng: random.Random) -> Iterator[JournalEntry]:
    """Gauges are read every other day in the morning; one was forgotten, and one is nearly empty."""
    for number, cylinder in enumerate(site.cylinders):
        kpa = cylinder.full_kpa * rng.uniform(0.9, 1.0)
        last_ms = story_ms - round(rng.uniform(3, 14) * HOUR_MS) - (3 * DAY_MS if number == 1 else 0)
        used_kpa = cylinder.full_kpa * (0.06 if number == 2 else 0.01)
        for turn in range(15, -1, -1):
            kpa = max(kpa - used_kpa * rng.uniform(0.5, 1.5), 0.9 * cylinder.change_kpa)
            bar = round(kpa / 100)
            yield _entry(entries.CYLINDER_READ, last_ms - turn * 2 * DAY_MS, _person(site, "ward", cylinder.ward),
                         {"cylinder": cylinder.id, "kpa": bar * 100.0, "entered": f"{bar} bar"},
                         ward=cylinder.ward)  # fmt: skip


def _deliveries(site: Site, past: list[JournalEntry], story_ms: int) -> Iterator[JournalEntry]:
    """Every piece used until five weeks ago has been ordered again; sieve beds are on their way."""
    who = _person(site, "planner")
    for part in site.parts:
        used = sorted(entry.at_ms for entry in past if part.id in entry.body.get("parts", {}))
        came = []
        for pieces, at_ms in _orders(used):
            there_ms = at_ms + round(part.lead_days) * DAY_MS
            came.append((there_ms, pieces))
            yield _moved(part, pieces, "ordered", at_ms, who)
            yield _moved(part, pieces, "received", there_ms, who)
        for at_ms in _short(part.stock, used, came):
            yield _moved(part, 1, "borrowed from another hospital", at_ms - DAY_MS, who)
    if slow := [part for part in site.parts if part.lead_days > 60]:
        yield _moved(slow[0], 1, "ordered", story_ms - 12 * DAY_MS, who)


def _orders(used: list[int]) -> Iterator[tuple[int, int]]:
    """Pieces and moments of orders: five weeks after the first use, for all that was used until then."""
    left = used
    while left:
        at_ms = left[0] + 35 * DAY_MS
        pieces = sum(1 for moment in left if moment < at_ms)
        left = left[pieces:]
        yield pieces, at_ms


def _short(stock: int, used: list[int], came: list[tuple[int, int]]) -> Iterator[int]:
    """Uses for which there was no piece."""
    have = stock
    for at_ms, pieces in sorted([(at_ms, -1) for at_ms in used] + came):
        have += pieces
        if have < 0:
            have += 1
            yield at_ms


def _moved(part: Part, pieces: int, why: str, at_ms: int, who: Person) -> JournalEntry:
    return _entry(entries.PART_MOVED, at_ms, who, {"part": part.id, "by": pieces, "why": why})


def _person(site: Site, role: str, ward: str = "") -> Person:
    """Somebody of the invented hospital in this role, of this ward where there is such."""
    there = [person for person in site.people if person.role == role]
    of_ward = [person for person in there if person.ward == ward]
    return next(iter(of_ward or there), Person(id=role, name=f"Somebody ({role})"))


def _entry(
    kind: str, at_ms: int, who: Person | None, body: dict[str, Any], unit: Unit | None = None, ward: str = ""
) -> JournalEntry:
    return JournalEntry(
        at_ms=at_ms, kind=kind, unit=unit.id if unit else "", ward=unit.ward if unit else ward,
        who=who.name or who.id if who else "", role=who.role if who else "", origin=ORIGIN, body=body,
    )  # fmt: skip
