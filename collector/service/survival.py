"""How long units of a model run until they first fail: Kaplan and Meier's estimate, by SciPy.

Time is the unit's own run hours since it was first on record, not its age: what happened before is not known. A unit
that has not failed yet is counted up to its run hours of today. Bounds are pointwise, log-log (Greenwood's variance).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

import msgspec
import numpy as np


class Life(msgspec.Struct, frozen=True):
    """One unit: run hours until it first failed, or until now where it has not."""

    unit: str
    run_h: float
    failed: bool


class Point(msgspec.Struct, frozen=True):
    """After run_h the share `survival` has not failed; bounds are None where the formula has none."""

    run_h: float
    at_risk: int
    failures: int
    survival: float
    low: float | None
    high: float | None


class Survival(msgspec.Struct, frozen=True, kw_only=True):
    """Points at which something failed; median_h is None while over half have not failed."""

    units: int
    failed: int
    points: tuple[Point, ...]
    median_h: float | None
    longest_h: float
    confidence: float


def kaplan_meier(lives: Iterable[Life], confidence: float = 0.95) -> Survival:
    """Kaplan and Meier's estimate of the time to the first failure; without lives one without points."""
    known = [life for life in lives if life.run_h >= 0]
    failed = [life.run_h for life in known if life.failed]
    longest_h = max((life.run_h for life in known), default=0.0)
    if not failed:
        return Survival(
            units=len(known), failed=0, points=(), median_h=None, longest_h=longest_h, confidence=confidence
        )
    alive = [life.run_h for life in known if not life.failed]
    points = tuple(_points(failed, alive, confidence))
    median_h = next((point.run_h for point in points if point.survival <= 0.5 + 1e-12), None)
    return Survival(units=len(known), failed=len(failed), points=points, median_h=median_h, longest_h=longest_h,
                    confidence=confidence)  # fmt: skip


def _points(failed: list[float], alive: Sequence[float], confidence: float) -> list[Point]:
    from scipy import stats  # half a second and many megabytes: only for those who ask for it

    sf = stats.ecdf(stats.CensoredData(uncensored=failed, right=alive)).sf
    with warnings.catch_warnings():
        # SciPy says so where survival is 1 or 0 and the formula has no bounds: they are None then.
        warnings.filterwarnings("ignore", "The confidence interval is undefined")
        bounds = sf.confidence_interval(confidence_level=confidence, method="log-log")
    lows, highs = bounds.low.probabilities, bounds.high.probabilities
    everyone = np.sort(np.array([*failed, *alive]))
    points = []
    for place, (run_h, survival) in enumerate(zip(sf.quantiles, sf.probabilities, strict=True)):
        ended = failed.count(float(run_h))
        if ended:
            at_risk = len(everyone) - int(np.searchsorted(everyone, run_h))
            points.append(
                Point(float(run_h), at_risk, ended, float(survival), _bound(lows, place), _bound(highs, place))
            )
    return points


def _bound(values: Sequence[float], place: int) -> float | None:
    value = float(values[place])
    return None if np.isnan(value) else value


class RunHours:
    """A unit's run hours over time, from a count that may begin anew: straight lines between its points.

    A count that went back was lost and goes on from nothing: what it shows then has been run since.
    """

    def __init__(self, points: Mapping[int, float]) -> None:
        self._at_ms = sorted(points)
        counts = [points[at_ms] for at_ms in self._at_ms]
        steps = [count - before if count >= before else count for before, count in pairwise(counts)]
        self._hours = np.cumsum([counts[0], *steps]) if counts else np.zeros(0)

    def at(self, ms: int) -> float:
        """What the count shows at a moment, without its new beginnings; 0 for a unit without points."""
        return float(np.interp(ms, self._at_ms, self._hours)) if self._at_ms else 0.0

    def covers(self, ms: int) -> bool:
        """Whether hours were counted by then."""
        return bool(self._at_ms) and ms >= self._at_ms[0]

    def until(self, ms: int) -> float:
        """Run hours from where counting began to a moment; 0 for a unit without points."""
        return self.at(ms) - float(self._hours[0]) if self._at_ms else 0.0

    def between(self, from_ms: int, to_ms: int) -> float:
        """Run hours of a span."""
        return self.at(to_ms) - self.at(from_ms)
