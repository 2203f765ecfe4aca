"""Running phases: off, warming up, running, silent; what one reading says about them.

A restart never resets what stands raised: while a unit is off or warms up its low-purity conditions are held as they
are, since nothing has shown that they are gone. "warming up" is shown as such and never as good.
"""

from __future__ import annotations

from collector.reading import Reading
from collector.rules.limits import Limits
from collector.rules.memory import Tracked
from collector.rules.unitrow import OFF, RUNNING, SILENT, UNSEEN, WARMING_UP


def shows_on(unit: Tracked, reading: Reading, limits: Limits) -> bool | None:
    """Whether a reading shows the unit running: by power where measured, else by flow or purity; None: cannot say."""
    if reading.power_w is not None:
        return reading.power_w >= unit.off_below_w
    if reading.volts is not None and reading.volts < unit.volts_lost:
        return False
    flow, purity = reading.flow_lpm, reading.purity_pct
    if flow is None and purity is None:
        return None
    return (flow is not None and flow >= limits.on_flow_lpm) or (purity is not None and purity >= limits.on_purity_pct)


def next_phase(unit: Tracked, reading: Reading, on: bool | None, limits: Limits) -> str:
    """The phase after this reading; on None keeps the phase (a silent or unseen unit then counts as running)."""
    phase, memory, time_ms = unit.row.phase, unit.memory, reading.time_ms
    if on is None:
        on = phase != OFF
    if not on:
        return OFF
    purity = reading.purity_pct
    good = purity is not None and purity >= unit.amber_pct
    if phase == RUNNING or good:
        return RUNNING
    if phase == SILENT and memory.before_silence == RUNNING and not _may_have_restarted(unit):
        return RUNNING
    if phase != WARMING_UP:
        memory.started_ms, memory.warm_pct, memory.warm_ms = time_ms, purity, time_ms
        return WARMING_UP if unit.warm_up_ms else RUNNING
    started_ms = memory.started_ms if memory.started_ms is not None else time_ms
    over = time_ms - started_ms >= unit.warm_up_ms or not _still_rises(unit, purity, time_ms, limits)
    return RUNNING if over else WARMING_UP


def _still_rises(unit: Tracked, purity: float | None, time_ms: int, limits: Limits) -> bool:
    """Whether what looks like a warm-up goes on rising: a unit that only stands low must not be hidden by one."""
    memory = unit.memory
    if purity is not None and (memory.warm_pct is None or purity >= memory.warm_pct + limits.warm_rise_pct):
        memory.warm_pct, memory.warm_ms = purity, time_ms
    return time_ms - memory.warm_ms < limits.warm_rise_ms


def _may_have_restarted(unit: Tracked) -> bool:
    """A unit that was good before a silence and is low after it may just have been started again.

    One that was low already before the silence is not given a new warm-up: that would hide it.
    """
    before = unit.memory.run_purity_pct
    return before is None or before >= unit.amber_pct


def enter(unit: Tracked, phase: str, time_ms: int | None) -> None:
    """Put the unit in a phase."""
    memory, row = unit.memory, unit.row
    if phase in (RUNNING, WARMING_UP) and row.phase in (OFF, UNSEEN):
        memory.delivered = False
    row.phase, row.phase_since_ms = phase, time_ms
