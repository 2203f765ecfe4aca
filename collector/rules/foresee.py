"""Capacity of one unit from its readings, and the conditions that follow from it before any limit is passed.

Rules of this file: follow_capacity() is called for every reading of a running unit and does next to nothing until a
mean is complete; what is said then is said with delays of its own, so that nothing is raised and cleared by turns.
"""

from __future__ import annotations

from typing import Final

from collector.reading import Reading
from collector.rules import causes
from collector.rules.analyser import is_doubted
from collector.rules.capacity import outlook as outlooks
from collector.rules.capacity.belief import Belief
from collector.rules.capacity.curve import AIR_PCT
from collector.rules.capacity.estimate import capacity_quantiles, mean_of, noise_pct, observe, rate_of
from collector.rules.capacity.follow import CALM_MS, NEAR_MS, START_MS, WATCH_MS, Mean, Slice, gather
from collector.rules.capacity.now import CapacityNow, CapacityPoint, Outlook
from collector.rules.capacity.signs import follow_signs
from collector.rules.events import Event
from collector.rules.expect import judge_capacity
from collector.rules.findings import raised
from collector.rules.jumps import QUICK_H, QUICK_PCT, note_jump, note_unanswered, present_of
from collector.rules.limits import HOUR, MINUTE, Limits
from collector.rules.memory import Tracked

#: Capacity counts as seen while its ln is known this well: 12 % of it.
SEEN_SD: Final = 0.12
#: A quick fall runs ahead of what is measured by the lag of a fall (90 s, common practice) and half a minute of
#: averaging.
LAG_H: Final = 120.0 / 3600.0
#: So long purity must have been under the plateau before capacity's fall is timed: the estimate settles first.
TOP_MS: Final = 10 * MINUTE


def follow_capacity(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> bool:
    """Take in one reading of a running unit; True when its belief has changed."""
    purity, flow = r.purity_pct, r.flow_lpm
    if (
        purity is None
        or flow is None
        or flow < limits.on_flow_lpm
        or not limits.floor_pct < purity < limits.ceiling_pct
    ):
        return False
    memory, belief = unit.memory, unit.belief
    part = memory.part
    if part is None:
        part = memory.part = Slice(r.time_ms, flow)
    if unit.row.phase_since_ms == r.time_ms:  # it has just begun to run: what it shows is still on its way up
        part.settled_ms = r.time_ms + START_MS
    part.under = part.under + 1 if purity < belief.watch_pct else 0
    length_ms = WATCH_MS if part.under >= 2 else belief.length_ms
    mean = gather(part, r.time_ms, purity, flow, length_ms)
    if mean is None:
        return False
    _take_in(unit, belief, mean, limits)
    judge_capacity(unit, belief, r.time_ms, limits, found)
    return True


def _take_in(unit: Tracked, belief: Belief, mean: Mean, limits: Limits) -> None:
    estimate, time_ms = belief.estimate, mean.time_ms
    dt_h = min((time_ms - estimate.last_ms) / HOUR, 1.0) if estimate.last_ms else 0.0
    if mean.stepped:
        note_unanswered(belief, mean)
        belief.signs.base_lpm, belief.stepped_ms = mean.flow_lpm, time_ms
    under = estimate.plateau_pct - mean.purity_pct > max(1.0, 3.0 * noise_pct(estimate))
    belief.left_ms = (belief.left_ms or time_ms) if under else None
    note_jump(unit, belief, mean, dt_h)
    # A low value that only may be wrong is believed, which is the safe side; one that stands still while the unit
    # moves, or that a ward's units share, is not.
    doubted = (raised(unit, "sensor-suspect") and not belief.signs.jump_ms) or is_doubted(unit, time_ms)
    if not doubted:
        observe(estimate, time_ms, _ahead_of_lag(belief, mean, dt_h), mean.flow_lpm, (unit.amber_pct, unit.rated_lpm))
    follow_signs(belief.signs, present_of(unit, mean), dt_h, well=not under)
    if not belief.signs.base_lpm:
        belief.signs.base_lpm = mean.flow_lpm
    belief.watch_pct = mean.purity_pct - max(1.2, 4.0 * noise_pct(estimate))
    belief.last_pct = mean.purity_pct
    _follow_top(belief, time_ms)
    if unit.row.proven_lpm is not None and unit.row.proven_ms is not None:
        belief.held_lpm, belief.held_ms = unit.row.proven_lpm, unit.row.proven_ms
    unit.row.capacity = _now(unit, belief, mean, under, doubted)
    outside = unit.row.capacity.cause in (causes.FLOW_ABOVE_RATED, causes.SUPPLY_LOW)
    belief.outside_ms = (belief.outside_ms or time_ms) if outside else None
    belief.length_ms = _length(unit.row.capacity, under)


def _ahead_of_lag(belief: Belief, mean: Mean, dt_h: float) -> float:
    """The purity that a quick fall is on its way to: what is measured is late by the bed's lag and half a mean."""
    before = belief.last_pct
    if before is None or mean.stepped or not 0.0 < dt_h <= QUICK_H or before - mean.purity_pct < QUICK_PCT:
        return mean.purity_pct
    return max(mean.purity_pct - (before - mean.purity_pct) / dt_h * LAG_H, AIR_PCT)


def _follow_top(belief: Belief, time_ms: int) -> None:
    """Where the present fall began: the last moment at which capacity was as high as ever since it is seen."""
    c, variance = mean_of(belief.estimate)
    if variance > SEEN_SD**2:
        belief.top_c = None
    elif belief.top_c is None or c > belief.top_c - 0.01 or time_ms - (belief.left_ms or time_ms) < TOP_MS:
        belief.top_c, belief.top_ms = c, time_ms


def _now(unit: Tracked, belief: Belief, mean: Mean, under: bool, doubted: bool) -> CapacityNow:
    """What is known as of a mean; while its analyser is doubted nothing is foretold from it."""
    estimate, model = belief.estimate, unit.model
    low, middle, high = capacity_quantiles(estimate)
    seen = not doubted and estimate.seen_ms is not None and mean_of(estimate)[1] < SEEN_SD**2
    limits_pct = (model.amber_pct, model.red_pct, model.shutdown_pct)
    found: tuple[Outlook, ...] = ()
    if seen:
        found = outlooks.outlooks(estimate, [mean.flow_lpm, *_larger(mean.flow_lpm, unit)], limits_pct)
    cause, why = causes.name_cause(unit, belief, mean.time_ms) if under else ("", ())
    return CapacityNow(
        at_ms=mean.time_ms, p05_lpm=low, p50_lpm=middle, p95_lpm=high, seen=seen,
        good_to_lpm=min(low, unit.rated_lpm) if seen else None,
        fall_pct_per_day=-2400.0 * rate_of(estimate)[0] if seen else None,
        outlook=found[0] if found else None, turned_up=found[1:], cause=cause, why=why,
    )  # fmt: skip


def _larger(flow_lpm: float, unit: Tracked) -> list[float]:
    """Flows to which somebody might turn the unit up: half way to rated, and rated."""
    rated = unit.rated_lpm
    return [] if flow_lpm > 0.9 * rated else [round(2 * (flow_lpm + rated) / 2) / 2, rated]


def _length(now: CapacityNow, under: bool) -> int:
    """How long the next mean takes: the nearer a limit, the shorter."""
    amber = now.outlook.amber_in_min["p05"] if now.outlook else None
    if not under or amber is None or amber > 24 * 60:
        return CALM_MS if not under else NEAR_MS
    return WATCH_MS if amber < 8 * 60 else NEAR_MS


def outlook_of(unit: Tracked, flow_lpm: float | None) -> Outlook | None:
    """The outlook as of a unit's last mean at a flow (None: the one in use); None while capacity is not seen."""
    known, model = unit.row.capacity, unit.model
    if known is None or known.outlook is None or flow_lpm is None:
        return None if known is None else known.outlook
    limits_pct = (model.amber_pct, model.red_pct, model.shutdown_pct)
    return outlooks.outlooks(unit.belief.estimate, [flow_lpm], limits_pct)[0]


def hour_point(unit: Tracked) -> CapacityPoint | None:
    """The point for the record of the hour that has just ended with a mean in it, once."""
    belief, known = unit.belief, unit.row.capacity
    if known is None:
        return None
    hour_ms = known.at_ms // HOUR * HOUR
    ended_ms, belief.hour_ms = belief.hour_ms, hour_ms
    if ended_ms is None or ended_ms == hour_ms:
        return None
    return CapacityPoint(unit=unit.id, hour_ms=ended_ms, p05_lpm=known.p05_lpm, p50_lpm=known.p50_lpm,
                         p95_lpm=known.p95_lpm, seen=known.seen, proven_lpm=unit.row.proven_lpm)  # fmt: skip
