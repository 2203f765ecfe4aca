"""How many hours a unit has run by any moment, and when it will have run so many more.

Hours come from the journal's daily rows, each as hours known (seen running, or told by the unit's own meter across a
gap) and hours unknown (nobody can account for them). A share of 0 counts none of the unknown hours, 1 all of them; in
between the unit is taken to have run then as much as it does otherwise. What a meter shows is used only for the time
before the first row, so a meter that is reset or replaced moves nothing.

Ahead, hours of n days are taken as normal with mean m*n and variance v*n + s^2*n^2: v is the long-run variance of a
day's hours, from means of whole weeks since units run in spells; s is how well m is known. The moment at which H hours
are passed with chance q solves (m*n - H)^2 = z^2 (v*n + s^2*n^2): its two roots are the 5 % and 95 % points. A prior
(12 +/- 6 h a day, a guess, common practice) stands in while there is little to go on.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from typing import Final, NamedTuple

from collector.rules.limits import DAY, HOUR

DAY_H: Final = 24.0
_Z: Final = 1.6449  # the normal's 95 % point
#: The prior of hours a day and its deviation, and that of a day's long-run variance with its weight in weeks.
PRIOR_H: Final = 12.0
_PRIOR_SD_H: Final = 6.0
_PRIOR_VARIANCE: Final = 350.0
_PRIOR_WEEKS: Final = 4.0
#: What is looked back on; a day counts half as much so many days later. Demand changes by a tenth (common practice).
LOOK_BACK_DAYS: Final = 120
_HALF_LIFE_DAYS: Final = 30.0
_DRIFT: Final = 0.1
#: A day with more unknown hours than this says nothing about use.
_UNKNOWN_MOST_H: Final = 6.0


class Point(NamedTuple):
    """Hours counted by a moment, and what the unit's own meter showed then (None: nothing)."""

    at_ms: int
    known_h: float
    unknown_h: float
    meter_h: float | None = None

    def total_h(self, share: float) -> float:
        """Hours run by then, with this share of the unknown ones."""
        return self.known_h + share * self.unknown_h


class Usage(NamedTuple):
    """Hours a day: the mean, its standard error, and the long-run variance of a day's hours."""

    mean_h: float
    error_h: float
    variance: float

    @property
    def share(self) -> float:
        """The share of time that the unit runs."""
        return min(1.0, max(0.0, self.mean_h / DAY_H))


IDLE: Final = Usage(0.0, 0.0, 0.0)


def usage_of(points: Sequence[Point]) -> Usage:
    """How much a unit runs, from its daily points."""
    days = _days(points)
    if not days:
        return Usage(PRIOR_H, _PRIOR_SD_H, _PRIOR_VARIANCE)
    last = days[-1][0]
    weights = [0.5 ** ((last - day) / _HALF_LIFE_DAYS) for day, _ in days]
    weight = sum(weights)
    mean = sum(w * hours for w, (_, hours) in zip(weights, days, strict=True)) / weight
    variance = _long_run_variance([hours for _, hours in days])
    counted = weight**2 / sum(w * w for w in weights)
    precision, prior = counted / variance, 1 / _PRIOR_SD_H**2
    mean_h = (mean * precision + PRIOR_H * prior) / (precision + prior)
    error_h = sqrt(1 / (precision + prior) + (_DRIFT * mean_h) ** 2)
    return Usage(min(DAY_H, mean_h), error_h, variance)


def _days(points: Sequence[Point]) -> list[tuple[float, float]]:
    """Hours a day of each step between points that says something, with the day it ends on."""
    found = []
    for before, after in pairwise(points):
        days = (after.at_ms - before.at_ms) / DAY
        unknown_h = (after.unknown_h - before.unknown_h) / days if days > 0 else DAY_H
        if days >= 0.5 and unknown_h <= _UNKNOWN_MOST_H:
            hours = (after.known_h - before.known_h) / days * DAY_H / (DAY_H - unknown_h)
            found += [(after.at_ms / DAY - back, min(DAY_H, hours)) for back in range(max(1, round(days)) - 1, -1, -1)]
    horizon = points[-1].at_ms / DAY - LOOK_BACK_DAYS if points else 0.0
    return [one for one in found if one[0] > horizon]


def _long_run_variance(hours: Sequence[float]) -> float:
    mean = sum(hours) / len(hours)
    weeks = [hours[i : i + 7] for i in range(0, len(hours) - 6, 7)]
    seen = sum(7 * (sum(week) / 7 - mean) ** 2 for week in weeks)
    freedom = max(0, len(weeks) - 1)
    return (seen + _PRIOR_WEEKS * _PRIOR_VARIANCE) / (freedom + _PRIOR_WEEKS)


def days_until(hours: float, usage: Usage) -> tuple[float, float | None, float | None]:
    """Days until so many more hours are run: 5 %, 50 % and 95 % points, None where the unit may never run them."""
    if hours <= 0:
        return 0.0, 0.0, 0.0
    mean, error, variance = usage
    if mean <= 0:
        return (hours / DAY_H if error > 0 else float("inf")), None, None
    curve, slope = mean**2 - (_Z * error) ** 2, 2 * mean * hours + _Z**2 * variance
    root = sqrt(max(0.0, slope**2 - 4 * curve * hours**2))
    soonest = hours / DAY_H
    early = max(soonest, 2 * hours**2 / (slope + root))
    late = (slope + root) / (2 * curve) if curve > 0 else None
    median = max(soonest, hours / mean)
    return min(early, median), median, None if late is None else max(late, median)


class RunClock:
    """Hours run by any moment of the record; points ascend in time and never go back in hours."""

    def __init__(self, points: Sequence[Point]) -> None:
        self.points = points
        self._at = [point.at_ms for point in points]

    def at(self, time_ms: float, share: float) -> float:
        """Hours run by a moment, a straight line between points; before the first and after the last they stand."""
        i = bisect_right(self._at, time_ms)
        if i == 0 or i == len(self.points):
            return self.points[max(0, i - 1)].total_h(share)
        before, after = self.points[i - 1], self.points[i]
        part = (time_ms - before.at_ms) / (after.at_ms - before.at_ms)
        return before.total_h(share) + part * (after.total_h(share) - before.total_h(share))

    def when(self, hours: float, share: float) -> int | None:
        """The moment at which so many hours had been run, or None if they have not been."""
        i = bisect_left(self.points, hours, key=lambda point: point.total_h(share))
        if i == len(self.points):
            return None
        after = self.points[i]
        if i == 0:
            return after.at_ms
        before = self.points[i - 1]
        rose = after.total_h(share) - before.total_h(share)
        return round(before.at_ms + (hours - before.total_h(share)) / rose * (after.at_ms - before.at_ms))


def hours_before(usage: Usage, days: float) -> tuple[float, float, float]:
    """Hours that a unit may have run in so many days that nobody followed: 5 %, 50 % and 95 % points."""
    spread = _Z * sqrt(usage.variance * days + (usage.error_h * days) ** 2)
    middle, most = usage.mean_h * days, DAY_H * days
    return max(0.0, middle - spread), min(most, middle), min(most, middle + spread)


def unheard_h(last_ms: int | None, now_ms: int) -> float:
    """Hours since a unit was last heard of."""
    return max(0.0, (now_ms - last_ms) / HOUR) if last_ms is not None else 0.0
