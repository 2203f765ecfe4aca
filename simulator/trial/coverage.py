"""Are the forecast's intervals honest: does what came true lie between p05 and p95 in nine of ten?

The truth of a forecast is when the unit's health, going on as it did, first gives less than the limit at the forecast's
own flow, whatever flow the ward used later. A recording ends, so some truths are only known to lie after its end. Where
the end was fixed beforehand, a forecast is judged only if its whole interval lies within the recording: a choice by the
forecast and not by what came of it. Where the recording ended because the unit switched off, everything is judged that
can be. What is left out is counted.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import msgspec
import numpy as np

from collector.rules.capacity.now import CapacityNow
from collector.rules.events import Quantiles
from simulator.trial.spells import MINUTE_MS
from simulator.trial.story import Story

#: How often the forecast is looked at, how often at most in a long story, and how often at least in a short fall.
EVERY_MS: Final = 10 * MINUTE_MS
LOOKS: Final = 240
LOOKS_IN_FALL: Final = 24
#: So many forecasts of a story are judged at most, spread evenly.
FORECASTS: Final = 60
#: Only forecasts that say something: a limit is expected within 14 days.
WITHIN_MIN: Final = 14 * 24 * 60.0
CAPACITY: Final = "capacity"

COVERED, EARLY, LATE, UNDECIDED = "covered", "early", "late", "undecided"


class Checked(msgspec.Struct, frozen=True):
    """One interval and what came true, in minutes, or in L/min when `of` is "capacity".

    `truth` None: later than `known_until`. `verdict`: covered; early or late: the truth came before p05 or after p95.
    """

    of: str
    at_ms: int
    p05: float | None
    p50: float | None
    p95: float | None
    truth: float | None
    known_until: float
    verdict: str


def moments_of(story: Story) -> list[int]:
    """When the estimate is to be looked at: every ten minutes, thinned in long stories, closer in a quick fall."""
    first_ms, last_ms = int(story.time_ms[0]), int(story.time_ms[-1])
    step_ms = max(EVERY_MS, (last_ms - first_ms) // LOOKS)
    moments = set(range(first_ms + step_ms, last_ms, step_ms))
    if story.onset_ms is not None and story.shutdown_ms is not None:
        fall_ms = story.shutdown_ms - story.onset_ms
        moments |= {story.onset_ms + fall_ms * k // LOOKS_IN_FALL for k in range(1, LOOKS_IN_FALL)}
    return sorted(moments)


def check(story: Story, snapshots: Sequence[CapacityNow]) -> list[Checked]:
    """Compare the forecasts and the capacities of a story with what came true."""
    telling = _thinned([s for s in snapshots if s.outlook is not None and _says_something(s)])
    seen = _thinned([s for s in snapshots if s.seen])
    return [*_forecasts(story, telling), *_capacities(story, seen)]


def _thinned(snapshots: list[CapacityNow]) -> list[CapacityNow]:
    if len(snapshots) <= FORECASTS:
        return snapshots
    return [snapshots[k] for k in np.linspace(0, len(snapshots) - 1, FORECASTS).astype(int)]


def _says_something(snapshot: CapacityNow) -> bool:
    medians = [quantiles["p50"] for quantiles in _quantiles(snapshot).values()]
    return any(p50 is not None and p50 <= WITHIN_MIN for p50 in medians)


def _quantiles(snapshot: CapacityNow) -> dict[str, Quantiles]:
    outlook = snapshot.outlook
    if outlook is None:
        return {}
    return {"amber": outlook.amber_in_min, "red": outlook.red_in_min, "shutdown": outlook.shutdown_in_min}


def _forecasts(story: Story, snapshots: Iterable[CapacityNow]) -> Iterator[Checked]:
    model = story.model
    limits = {"amber": model.amber_pct, "red": model.red_pct, "shutdown": model.shutdown_pct}
    step_min = float(np.median(np.diff(story.time_ms))) / MINUTE_MS
    for snapshot in snapshots:
        assert snapshot.outlook is not None  # noqa: S101 - chosen so
        first = int(np.searchsorted(story.time_ms, snapshot.at_ms))
        rows = np.arange(first, len(story.time_ms))
        if not len(rows):
            continue
        purity = story.steady(snapshot.outlook.flow_lpm, rows)
        until = float(story.time_ms[-1] - snapshot.at_ms) / MINUTE_MS
        for name, q in _quantiles(snapshot).items():
            under = np.flatnonzero(purity < limits[name])
            truth = float(story.time_ms[first + under[0]] - snapshot.at_ms) / MINUTE_MS if len(under) else None
            if not _is_over(q, truth) and q["p50"] is not None and q["p50"] <= WITHIN_MIN:
                verdict = judge(q["p05"], q["p95"], truth, until, step_min)
                if story.shutdown_ms is None and _reaches_past(q, until):
                    verdict = UNDECIDED
                yield Checked(name, snapshot.at_ms, q["p05"], q["p50"], q["p95"], truth, until, verdict)


def _is_over(q: Quantiles, truth: float | None) -> bool:
    """A limit that is passed already, and said to be: no forecast, and no merit either."""
    return truth == 0.0 and q["p95"] == 0.0


def _reaches_past(q: Quantiles, until: float) -> bool:
    """Whether an interval's last closed end lies beyond what is known."""
    end = q["p95"] if q["p95"] is not None else q["p05"]
    return end is None or end > until


def judge(p05: float | None, p95: float | None, truth: float | None, until: float, slack: float) -> str:
    """Where the truth lies; a p95 of None is open, a p05 of None says "not within the horizon at all".

    `slack` is the time between two readings: nobody can know it better.
    """
    low = np.inf if p05 is None else p05 - slack
    high = np.inf if p95 is None else p95 + slack
    if truth is not None:
        return EARLY if truth < low else LATE if truth > high else COVERED
    if high < until:
        return LATE
    return COVERED if low <= until and p95 is None else UNDECIDED


def _capacities(story: Story, snapshots: Iterable[CapacityNow]) -> Iterator[Checked]:
    for snapshot in snapshots:
        row = min(int(np.searchsorted(story.time_ms, snapshot.at_ms)), len(story.time_ms) - 1)
        truth = capacity_lpm(story, row)
        p05, p95 = snapshot.p05_lpm, snapshot.p95_lpm
        verdict = EARLY if truth < p05 else LATE if truth > p95 else COVERED
        yield Checked(CAPACITY, snapshot.at_ms, p05, snapshot.p50_lpm, p95, truth, np.inf, verdict)


def capacity_lpm(story: Story, row: int) -> float:
    """The unit's true capacity at one row: the flow at which its purity is just the amber limit, by bisection."""
    rows = np.array([row])
    low, high = 0.0, 4 * story.model.rated_flow_lpm
    for _halving in range(30):
        middle = (low + high) / 2
        if story.steady(middle, rows)[0] >= story.model.amber_pct:
            low = middle
        else:
            high = middle
    return low
