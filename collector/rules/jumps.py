"""Sudden changes of purity, told apart: a unit's own (power jumps with it: a valve) or its analyser's (nothing does).

Rules of this file: it looks at means and never at single readings, so that one wild value is no jump; what it finds is
kept in the unit's signs and taken back when what follows speaks against it.
"""

from __future__ import annotations

from math import log
from typing import Final

from collector.rules.capacity.belief import Belief
from collector.rules.capacity.estimate import noise_pct
from collector.rules.capacity.follow import Mean
from collector.rules.capacity.signs import Present, power_now
from collector.rules.limits import MINUTE
from collector.rules.memory import Tracked

#: A sudden change of purity (points within two means of a minute) that power does not share is the analyser's.
JUMP_PCT: Final = 2.5
JUMP_POWER: Final = 0.045
#: It must come to rest within so long, and stand still (points from where it came to rest) for so many means and so
#: long.
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
#: A fall of so much from one mean to the next is a quick one.
QUICK_PCT: Final = 1.0
#: So far under the plateau a purity must answer a change of flow.
UNANSWERED_PCT: Final = 3.0


def present_of(unit: Tracked, mean: Mean) -> Present:
    """A unit's values at a mean."""
    row = unit.row
    volts = None if row.volts is None else row.volts / unit.model.nominal_volts
    return Present(mean.flow_lpm, row.power_w, row.pressure_kpa, row.temp_c, volts)


def note_unanswered(belief: Belief, mean: Mean) -> None:
    """A low purity that does not answer a change of flow is the analyser's: a unit's would."""
    estimate, before = belief.estimate, belief.last_pct
    if before is None or not estimate.last_lpm or estimate.plateau_pct - max(before, mean.purity_pct) < UNANSWERED_PCT:
        return
    if abs(log(mean.flow_lpm / estimate.last_lpm)) > 0.25 and abs(mean.purity_pct - before) < 1.0:
        signs = belief.signs
        signs.jump_pct, signs.jump_level_pct = mean.purity_pct - estimate.plateau_pct, mean.purity_pct
        signs.jump_ms = mean.time_ms


def note_jump(unit: Tracked, belief: Belief, mean: Mean, dt_h: float) -> None:
    """What a sudden fall looked like: purity alone, or power with it."""
    before, signs = belief.last_pct, belief.signs
    power = power_now(signs, present_of(unit, mean))
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
        moved = abs(mean.purity_pct - signs.jump_level_pct) > MOVED_PCT + 2.0 * noise_pct(belief.estimate)
        if moved or abs(signs.power_off) > 2 * JUMP_POWER:
            signs.jump_ms = 0  # it moves on, or power has followed: it was the unit after all
        return
    fallen = mean.purity_pct - belief.calm_pct
    soon = belief.left_ms is not None and mean.time_ms - belief.left_ms <= JUMP_WITHIN_MS
    still = belief.still_n >= STILL_MEANS and mean.time_ms - belief.still_ms >= STILL_MS
    if fallen <= -JUMP_PCT and alone and soon and still and signs.learned:
        signs.jump_pct, signs.jump_level_pct, signs.jump_ms = fallen, mean.purity_pct, mean.time_ms
