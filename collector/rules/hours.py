"""Service hours, integrated honestly.

Observed: two readings no further apart than the silence limit, the unit running at both. Inferred: a longer gap, only
by what the unit's own hour meter went on meanwhile. Unknown: a longer gap without a usable meter, when the unit ran at
either end. Nothing is ever counted without saying which of the three it is.
"""

from __future__ import annotations

from collector.reading import Reading
from collector.rules import entries, meter
from collector.rules.entries import JournalEntry
from collector.rules.limits import DAY, HOUR, Limits
from collector.rules.memory import Memory, Tracked
from collector.rules.unitrow import RUNNING, WARMING_UP


def account(unit: Tracked, reading: Reading, was_on: bool, is_on: bool, limits: Limits) -> list[JournalEntry]:
    """Book the time since the unit's last reading and follow its hour meter; returns notes for the journal."""
    memory, time_ms = unit.memory, reading.time_ms
    notes: list[JournalEntry] = []
    if unit.last_ms is not None:
        gap_ms = time_ms - unit.last_ms
        if gap_ms <= limits.absent_ms:
            ran_ms = gap_ms if was_on and is_on else 0
            memory.observed_ms += ran_ms
            memory.inferred_ms += meter.seen(memory.meter, ran_ms, _before_h(unit, reading, limits), reading.hours_h)
        elif (inferred := _by_meter(unit, reading, limits)) is not None:
            memory.inferred_ms += inferred
        else:
            meter.forget(memory.meter)
            if was_on or is_on:
                memory.unknown_ms += gap_ms
    if reading.hours_h is not None:
        notes = _follow_meter(unit, reading.hours_h, time_ms, limits)
    day = time_ms // DAY
    if memory.hours_day is None:
        memory.hours_day = day
    elif day > memory.hours_day:
        memory.hours_day = day
        notes.append(_daily(unit, time_ms))
    return notes


def _before_h(unit: Tracked, reading: Reading, limits: Limits) -> float | None:
    """What the meter showed at the reading before, where it can be compared: read then, and not replaced since."""
    memory = unit.memory
    if reading.hours_h is None or memory.meter_h is None or memory.meter_ms != unit.last_ms:
        return None
    return memory.meter_h if reading.hours_h - memory.meter_h <= _most_h(memory, reading.time_ms, limits) else None


def _most_h(memory: Memory, time_ms: int, limits: Limits) -> float:
    """How much the meter may have gone on since it was read."""
    return (time_ms - (memory.meter_ms or time_ms)) / HOUR * limits.meter_rate + limits.meter_step_h


def _by_meter(unit: Tracked, reading: Reading, limits: Limits) -> int | None:
    """Run time in ms to be booked for the gap by the unit's own meter, or None when the meter cannot say.

    The meter must have been read at the gap's start as well as now, and must not have gone back or outrun the clock.
    """
    before_h, last_ms = _before_h(unit, reading, limits), unit.last_ms
    if before_h is None or last_ms is None or reading.hours_h is None or reading.hours_h < before_h:
        return None
    return meter.across(unit.memory.meter, reading.time_ms - last_ms, before_h, reading.hours_h)


def _follow_meter(unit: Tracked, hours_h: float, time_ms: int, limits: Limits) -> list[JournalEntry]:
    memory = unit.memory
    before_h, most_h = memory.meter_h, _most_h(memory, time_ms, limits)
    memory.meter_h, memory.meter_ms = hours_h, time_ms
    if before_h is None:
        return []
    if hours_h < before_h - limits.meter_step_h:
        what = "went back: reset or replaced"
    elif hours_h - before_h > most_h:
        what = "jumped ahead of the clock: replaced or misread"
    else:
        return []
    meter.forget(memory.meter)
    body = {"from_h": before_h, "to_h": hours_h, "what": what}
    return [JournalEntry(at_ms=time_ms, kind=entries.HOUR_METER, unit=unit.id, ward=unit.ward.id,
                         origin="collector", body=body)]  # fmt: skip


def _daily(unit: Tracked, time_ms: int) -> JournalEntry:
    memory = unit.memory
    body = {
        "observed_h": round(memory.observed_ms / HOUR, 3),
        "inferred_h": round(memory.inferred_ms / HOUR, 3),
        "unknown_h": round(memory.unknown_ms / HOUR, 3),
        "meter_h": memory.meter_h,
    }
    return JournalEntry(at_ms=time_ms // DAY * DAY, kind=entries.SERVICE_HOURS, unit=unit.id, ward=unit.ward.id,
                        origin="collector", body=body)  # fmt: skip


def is_on(phase: str) -> bool:
    """Whether a unit in this phase runs."""
    return phase in (RUNNING, WARMING_UP)
