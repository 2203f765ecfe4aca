"""What the product is compared with: the unit's own lamp, and a straight line through the last two hours of purity.

Both see the readings that the rules see, and are told besides when the unit runs. They are set up as well as a sensible
engineer would: see the constants, each with its reason.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from simulator.physics import Array
from simulator.trial.spells import HOUR_MS, MINUTE_MS, Spell, spells_of
from simulator.trial.story import Flags, Story, Times
from simulator.trial.truth import warmed_up

#: Units sound their low-purity lamp after some tens of seconds so that a spike does not; 60 s, common practice.
LAMP_DELAY_MS: Final = MINUTE_MS
#: The window that the line is laid through.
WINDOW_MS: Final = 2 * HOUR_MS
#: Fewer readings than an hour's at a cadence of a minute let noise decide the slope.
LEAST_MS: Final = 30 * MINUTE_MS
LEAST_READINGS: Final = 20
#: The slope must be this many standard errors below zero. Analyser noise is correlated from reading to reading, so its
#: standard error is understated and the usual 2 is too few. From 2 to 12 tried (seed 101): leads hardly differ.
LEAST_T: Final = 4.0
#: The line must point at red for so long, as red's own lamp (two readings at least), and must have ceased to for so
#: long. A minute or two instead misses most falls of a valve.
LINE_ON_MS: Final = 30_000
LINE_OFF_MS: Final = 10 * MINUTE_MS
#: How far ahead the line looks: twice the ward's changeover, and at least an hour. Two hours instead give a sixth more
#: lead for three times the nuisance (seed 101).
LEAST_NOTICE_MIN: Final = 60.0


class Seen(NamedTuple):
    """The purity readings of a unit that runs and has warmed up; `run` numbers its runs."""

    time_ms: Times
    purity_pct: Array
    run: Times


def seen_by_unit(story: Story) -> Seen:
    """What a lamp or a line goes by: nothing while the unit is off, warms up or does not report."""
    starts = story.running & ~np.concatenate([[True], story.running[:-1]])
    purity = story.measured["purity_pct"]
    good = warmed_up(story) & ~np.isnan(purity)
    return Seen(story.time_ms[good], purity[good], np.cumsum(starts)[good])


def lamp(seen: Seen, limit_pct: float) -> list[Spell]:
    """When the unit's own lamp stands on at a limit in %."""
    return spells_of(seen.time_ms, seen.purity_pct < limit_pct, LAMP_DELAY_MS, LAMP_DELAY_MS)


def straight_line(seen: Seen, red_pct: float, notice_min: float) -> list[Spell]:
    """When a line through the last two hours will cross red within the ward's notice, or purity is under it already."""
    if len(seen.time_ms) < LEAST_READINGS:
        return []
    purity = _despiked(seen)
    slope, t_value, level = _fits(seen, purity)
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead_h = np.where(slope < 0, (red_pct - level) / slope, np.inf)
    falls = (t_value <= -LEAST_T) & (ahead_h <= notice_min / 60)
    return spells_of(seen.time_ms, falls | (purity < red_pct), LINE_ON_MS, LINE_OFF_MS)


def notice_min(story: Story) -> float:
    """How long before red a line tells the ward, in minutes."""
    return max(LEAST_NOTICE_MIN, 2 * story.changeover_min)


def _despiked(seen: Seen) -> Array:
    """The median of the last three readings of one run: one wild reading must not bend the line."""
    purity = seen.purity_pct
    last = np.stack([purity, np.roll(purity, 1), np.roll(purity, 2)])
    last[:, :2] = purity[:2]
    same = seen.run == np.roll(seen.run, 2)
    return np.where(same, np.median(last, axis=0), purity)


def _fits(seen: Seen, purity: Array) -> tuple[Array, Array, Array]:
    """The slope in % an hour, its t value, and the line's level at the last reading, of the window that ends at each.

    Ordinary least squares by running sums; where a window is too short its t value is 0.
    """
    begin = np.maximum(
        np.searchsorted(seen.time_ms, seen.time_ms - WINDOW_MS), np.searchsorted(seen.run, seen.run)
    ).astype(np.int64)
    end = np.arange(1, len(purity) + 1)
    count = (end - begin).astype(float)
    time_h = (seen.time_ms - seen.time_ms[0]) / HOUR_MS
    y = purity - purity.mean()
    sum_t, sum_y, sum_tt, sum_ty, sum_yy = (
        np.concatenate([[0.0], np.cumsum(values)])[end] - np.concatenate([[0.0], np.cumsum(values)])[begin]
        for values in (time_h, y, time_h * time_h, time_h * y, y * y)
    )
    s_tt = np.maximum(sum_tt - sum_t**2 / count, 1e-9)
    s_ty, s_yy = sum_ty - sum_t * sum_y / count, sum_yy - sum_y**2 / count
    slope = s_ty / s_tt
    spread = np.sqrt(np.maximum(s_yy - slope * s_ty, 1e-6) / np.maximum(count - 2, 1))
    enough: Flags = (count >= LEAST_READINGS) & (seen.time_ms - seen.time_ms[begin] >= LEAST_MS)
    t_value = np.where(enough, slope / (spread / np.sqrt(s_tt)), 0.0)
    level = purity.mean() + sum_y / count + slope * (time_h - sum_t / count)
    return slope, t_value, level
