"""Purity of several units that steps at one moment is the analyser that they share, not the units.

Rules of this file: a step is a change between two readings that neither flow nor power nor supply shares, and that
stays. One unit's step says nothing here: only steps of the same size and moment are told, and of one ward as one event.
A step to where the unit's purity usually lies is the end of something, not a step. It ends when purity is back there or
at the level from before, and after a day, when what it shows is taken as it is; a unit that is switched off leaves it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from collector.reading import Reading
from collector.rules.catalogue import CATALOGUE, STEPPED_TOGETHER_ACTION
from collector.rules.causes import SENSOR_FAULT
from collector.rules.events import Event, Evidence
from collector.rules.limits import DAY, Limits
from collector.rules.memory import Shared, Tracked
from collector.rules.sags import POOR
from collector.rules.shared import Kind, SharedConditions, Whole
from collector.rules.unitrow import RUNNING

SUSPECT: Final = "sensor-suspect"


def kind(limits: Limits) -> Kind:
    """A step of purity as a condition that a ward's units may share."""

    def alike(one: Shared, other: Shared) -> bool:
        near = abs(one.since_ms - other.since_ms) <= limits.step_together.window_ms
        return near and abs((one.value or 0.0) - (other.value or 0.0)) <= limits.step_alike_pct

    return Kind(SUSPECT, limits.step_together, _never, _never, _not_told, _whole, alike)


def check_step(
    unit: Tracked, r: Reading, phase: str, limits: Limits, shared: SharedConditions, found: list[Event]
) -> None:  # fmt: skip
    """Take the purity of one reading in, before the unit shows it: `phase` is the one it brings."""
    memory, purity = unit.memory, r.purity_pct
    share = memory.shared.get(SUSPECT) if memory.shared else None
    if share is not None:
        if _is_over(unit, share, r, phase, limits):
            unit.belief.signs.jump_ms = 0  # what the step left behind in the unit's own signs is over too
            shared.leave(unit, SUSPECT, r.time_ms, found)
        return
    before = memory.run_purity_pct
    if purity is None or before is None or -limits.step_pct < purity - before < limits.step_pct:
        return
    if _is_usual(unit, purity, limits):
        memory.unstepped_pct = before  # it may go to and fro
    elif phase == RUNNING and _stands_alone(unit, r, limits):
        shared.wait(unit, SUSPECT, r.time_ms, r.time_ms, SENSOR_FAULT, purity - before)
        memory.shared[SUSPECT].level = before


def is_doubted(unit: Tracked, time_ms: int) -> bool:
    """Whether a unit's purity stepped with others' less than a day ago: nothing is learned from it until then."""
    share = unit.memory.shared.get(SUSPECT)
    return share is not None and time_ms - share.since_ms < DAY


def _stands_alone(unit: Tracked, r: Reading, limits: Limits) -> bool:
    """Whether a step of purity is nothing that the unit itself would show elsewhere too."""
    row, memory = unit.row, unit.memory
    fresh = memory.purity_ms is not None and r.time_ms - memory.purity_ms <= limits.step_together.window_ms
    if row.phase != RUNNING or not fresh or POOR in memory.watches or POOR in memory.shared:
        return False
    if memory.part is None or r.time_ms < memory.part.settled_ms:  # purity still follows flow or a start
        return False
    steady = _same(r.flow_lpm, row.flow_lpm, limits.step_flow_share) and _same(
        r.power_w, row.power_w, limits.step_share
    )
    return steady and (r.volts is None or _same(r.volts, row.volts, limits.step_share))


def _is_usual(unit: Tracked, purity_pct: float, limits: Limits) -> bool:
    """Whether this is where the unit's purity lies when all is well, or lay before it stepped on its own."""
    usual = [unit.belief.estimate.plateau_pct] if unit.belief.signs.learned else []
    if unit.memory.unstepped_pct is not None:
        usual.append(unit.memory.unstepped_pct)
    return any(abs(purity_pct - level) <= limits.step_alike_pct for level in usual)


def _same(now: float | None, before: float | None, share: float) -> bool:
    return now is not None and before is not None and abs(now - before) <= share * before


def _is_over(unit: Tracked, share: Shared, r: Reading, phase: str, limits: Limits) -> bool:
    if phase != RUNNING or r.time_ms - share.since_ms >= DAY:
        return True
    if r.purity_pct is None or share.level is None or share.value is None:
        return False
    off = abs(r.purity_pct - share.level)
    if share.wait_ms is not None:  # it did not stay, or the unit shows it elsewhere too after all
        followed = r.power_w is not None and not _same(r.power_w, unit.row.power_w, limits.step_share)
        return off < abs(share.value) / 2 or followed
    if off > limits.step_alike_pct and not _is_usual(unit, r.purity_pct, limits):
        share.good_ms = None
        return False
    share.good_ms = share.good_ms if share.good_ms is not None else r.time_ms
    return r.time_ms - share.good_ms >= limits.suspect.off_ms


def _never(_unit: Tracked) -> bool:
    return False


def _not_told(unit: Tracked, share: Shared, _time_ms: int) -> None:
    """One unit's step alone says nothing about an analyser that it shares; its way back is no step either."""
    unit.memory.unstepped_pct = share.level


def _whole(units: Sequence[Tracked], time_ms: int) -> Whole:
    shares = [u.memory.shared[SUSPECT] for u in units]
    size = sum(share.value or 0.0 for share in shares) / len(shares)
    evidence: Evidence = {
        "units_stepped": len(units),
        "units": sorted(u.id for u in units),
        "step_pct": round(size, 1),
        "why": f"purity of all of them changed by {size:+.1f} points at one moment; flow, power and supply did not",
        "seen_for_s": (time_ms - min(share.since_ms for share in shares)) // 1000,
    }
    condition = CATALOGUE[SUSPECT]
    return Whole(evidence, STEPPED_TOGETHER_ACTION, condition.priority, condition.audience, SENSOR_FAULT)
