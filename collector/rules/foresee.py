"""Capacity of one unit from its readings, and the conditions that follow from it before any limit is passed.

Rules of this file: follow_capacity() is called for every reading of a running unit and does next to nothing until a
mean is complete; what is said then is said with delays of its own, so that nothing is raised and cleared by turns.
"""

from __future__ import annotations

from math import log
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
from collector.rules.capacity.signs import Present, follow_signs, power_now
from collector.rules.events import Event
from collector.rules.expect import judge_capacity
from collector.rules.findings import raised
from collector.rules.limits import HOUR, MINUTE, Limits
from collector.rules.memory import Tracked

#: Capacity counts as seen while its ln is known this well: 12 % of it.
SEEN_SD: Final = 0.12
#: A sudden change of purity (points within two means of a minute) that power does not share is the analyser's.
JUMP_PCT: Final = 2.5
JUMP_POWER: Final = 0.045
#: It must come to rest within so long, and stand still (points from where it came to rest) for so
#: many means and so long.
JUMP_WITHIN_MS: Final = 20 * MINUTE
STILL_PCT: Final = 0.5
STILL_MEANS: Final = 4
STILL_MS: Final = 8 * MINUTE
VALVE_WITHIN_MS: Final = 15 * MINUTE
#: Power that jumps by more as purity begins to fall is a valve's sign.
VALVE_POWER: Final = 0.05
#: So long after a change of flow power's normal at the new flow is taken with a grain of salt.
STEPPED_MS: Final = 15 * MINUTE
#: It has moved on when it is so far from where it came to rest.
MOVED_PCT: Final = 2.5
#: Means no further apart than this show what happened at once.
QUICK_H: Final = 0.05
#: A fall of so much from one mean to the next runs ahead of what is measured by the lag of a fall (90 s, common
#: practice) and half a minute of averaging.
QUICK_PCT: Final = 1.0
LAG_H: Final = 120.0 / 3600.0
#: So long purity must have been under the plateau before capacity's fall is timed: the estimate settles first.
TOP_MS: Final = 10 * MINUTE
#: So far under the plateau a purity must answer a change of flow.
UNANSWERED_PCT: Final = 3.0


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
        _note_unanswered(belief, mean)
        belief.signs.base_lpm, belief.stepped_ms = mean.flow_lpm, time_ms
    under = estimate.plateau_pct - mean.purity_pct > max(1.0, 3.0 * noise_pct(estimate))
    belief.left_ms = (belief.left_ms or time_ms) if under else None
    _note_jump(unit, belief, mean, dt_h)
    if not raised(unit, "sensor-suspect") and not is_doubted(unit, time_ms):
        observe(estimate, time_ms, _ahead_of_lag(belief, mean, dt_h), mean.flow_lpm, (unit.amber_pct, unit.rated_lpm))
    follow_signs(belief.signs, _present(unit, mean), dt_h, well=not under)
    if not belief.signs.base_lpm:
        belief.signs.base_lpm = mean.flow_lpm
    belief.watch_pct = mean.purity_pct - max(1.2, 4.0 * noise_pct(estimate))
    belief.last_pct = mean.purity_pct
    _follow_top(belief, time_ms)
    if unit.row.proven_lpm is not None and unit.row.proven_ms is not None:
        belief.held_lpm, belief.held_ms = unit.row.proven_lpm, unit.row.proven_ms
    unit.row.capacity = _now(unit, belief, mean, under)
    outside = unit.row.capacity.cause in (causes.FLOW_ABOVE_RATED, causes.SUPPLY_LOW)
    belief.outside_ms = (belief.outside_ms or time_ms) if outside else None
    belief.length_ms = _length(unit.row.capacity, under)


def _ahead_of_lag(belief: Belief, mean: Mean, dt_h: float) -> float:
    """The purity that a quick fall is on its way to: what is measured is late by the bed's lag and half a mean."""
    before = belief.last_pct
    if before is None or mean.stepped or not 0.0 < dt_h <= 0.05 or before - mean.purity_pct < QUICK_PCT:
        return mean.purity_pct
    return max(mean.purity_pct - (before - mean.purity_pct) / dt_h * LAG_H, AIR_PCT)


def _note_unanswered(belief: Belief, mean: Mean) -> None:
    """A low purity that does not answer a change of flow is the analyser's: a unit's would."""
    estimate, before = belief.estimate, belief.last_pct
    if before is None or not estimate.last_lpm or estimate.plateau_pct - max(before, mean.purity_pct) < UNANSWERED_PCT:
        return
    if abs(log(mean.flow_lpm / estimate.last_lpm)) > 0.25 and abs(mean.purity_pct - before) < 1.0:
        signs = belief.signs
        signs.jump_pct, signs.jump_level_pct = mean.purity_pct - estimate.plateau_pct, mean.purity_pct
        signs.jump_ms = mean.time_ms


def _follow_top(belief: Belief, time_ms: int) -> None:
    """Where the present fall began: the last moment at which capacity was as high as ever since it is seen."""
    c, variance = mean_of(belief.estimate)
    if variance > SEEN_SD**2:
        belief.top_c = None
    elif belief.top_c is None or c > belief.top_c - 0.01 or time_ms - (belief.left_ms or time_ms) < TOP_MS:
        belief.top_c, belief.top_ms = c, time_ms


def _note_jump(unit: Tracked, belief: Belief, mean: Mean, dt_h: float) -> None:
    """What a sudden fall looked like: purity alone, or power with it."""
    before, signs = belief.last_pct, belief.signs
    power = power_now(signs, _present(unit, mean))
    if before is None or mean.stepped or belief.left_ms is None:
        belief.calm_pct, belief.still_n = mean.purity_pct, 0
        if belief.left_ms is None:
            signs.jump_ms = signs.valve_n = 0
    by = mean.purity_pct - before if before is not None else 0.0
    power_by = abs(power - signs.power_day) if abs(signs.power_day) < JUMP_POWER else 0.0
    if dt_h < QUICK_H and by <= -QUICK_PCT and power_by > VALVE_POWER and not _lately_stepped(belief, mean.time_ms):
        _count_valve(belief, 2 if power_by > 2 * VALVE_POWER else 1, mean.time_ms)
    still = belief.still_n > 0 and abs(mean.purity_pct - belief.still_pct) < STILL_PCT + noise_pct(belief.estimate)
    if not still:
        belief.still_n, belief.still_pct, belief.still_ms = 0, mean.purity_pct, mean.time_ms
    belief.still_n += 1
    _follow_jump(belief, mean)


def _count_valve(belief: Belief, weight: int, time_ms: int) -> None:
    """Power must have jumped in two means of the beginning of a fall, or far in one: it is noisy too."""
    signs = belief.signs
    if belief.left_ms is not None and time_ms - belief.left_ms <= VALVE_WITHIN_MS:
        signs.valve_n += weight
        if signs.valve_n >= 2:
            signs.valve_ms = time_ms


def _lately_stepped(belief: Belief, time_ms: int) -> bool:
    return time_ms - belief.stepped_ms < STEPPED_MS


def _follow_jump(belief: Belief, mean: Mean) -> None:
    """A fall at once, to a level where purity then stands still while power does nothing: the analyser's."""
    signs = belief.signs
    alone = abs(signs.power_off) < JUMP_POWER and abs(signs.pressure_off) < 2 * JUMP_POWER
    if signs.jump_ms:
        if abs(signs.power_off) > 2 * JUMP_POWER or abs(
            mean.purity_pct - signs.jump_level_pct
        ) > MOVED_PCT + 2.0 * noise_pct(belief.estimate):
            signs.jump_ms = 0  # it moves on, or power has followed: it was the unit after all
        return
    fallen = mean.purity_pct - belief.calm_pct
    soon = belief.left_ms is not None and mean.time_ms - belief.left_ms <= JUMP_WITHIN_MS
    still = belief.still_n >= STILL_MEANS and mean.time_ms - belief.still_ms >= STILL_MS
    if fallen <= -JUMP_PCT and alone and soon and still and signs.learned:
        signs.jump_pct, signs.jump_level_pct, signs.jump_ms = fallen, mean.purity_pct, mean.time_ms


def _present(unit: Tracked, mean: Mean) -> Present:
    row = unit.row
    volts = None if row.volts is None else row.volts / unit.model.nominal_volts
    return Present(mean.flow_lpm, row.power_w, row.pressure_kpa, row.temp_c, volts)


def _now(unit: Tracked, belief: Belief, mean: Mean, under: bool) -> CapacityNow:
    estimate, model = belief.estimate, unit.model
    low, middle, high = capacity_quantiles(estimate)
    seen = estimate.seen_ms is not None and mean_of(estimate)[1] < SEEN_SD**2
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
