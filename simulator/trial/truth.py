"""What was really so in a story: when a loss could be seen, when purity went under amber, whether an alert was right.

Rules of this file: everything is measured on the truth, nothing on readings, and only while the unit runs and has
warmed up: a warm-up is low for everybody.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from simulator.trial.spells import DAY_MS, HOUR_MS, MINUTE_MS, PAUSE_MS, Spell, joined
from simulator.trial.story import Flags, Story

#: A loss is visible when purity has been one point under the unit's own plateau for ten minutes.
VISIBLE_PCT: Final = 1.0
VISIBLE_MS: Final = 10 * MINUTE_MS
_EASY: Final = (0.2, 0.35, 0.5)  # shares of rated flow
#: A ward alert was needed when purity goes under amber within six hours, or the unit switches off within a day.
AMBER_WITHIN_MS: Final = 6 * HOUR_MS
SHUTDOWN_WITHIN_MS: Final = DAY_MS
#: An on-delay and the analyser's lag: purity that was low so short a time ago was what the alert is about.
JUST_BEFORE_MS: Final = 3 * MINUTE_MS
#: A fall from amber to red within a minute is a fast one.
FAST_MS: Final = MINUTE_MS


class Truth(NamedTuple):
    """A story's truth; times in ms since 1970, None where it never came to that.

    plateau_pct is the unit's own: what it gave before the onset, and no more than it gives at an easy flow.
    visible_ms is when the loss that led to the shutdown without a break became visible, visible_first_ms when one was
    first visible at all, neither before the onset; amber_ms is when purity first went under amber after the onset.
    fast_ms is when a fast fall went under amber.
    """

    plateau_pct: float
    visible_ms: int | None
    visible_first_ms: int | None
    amber_ms: int | None
    fast_ms: int | None
    low: Flags  # per row: under amber


def truth_of(story: Story) -> Truth:
    """Everything that the judges need to know of a story."""
    warm = warmed_up(story)
    low = warm & (story.true_purity_pct < story.model.amber_pct)
    plateau_pct = _plateau(story, warm)
    lost = _lasting(story, warm & (story.true_purity_pct < plateau_pct - VISIBLE_PCT))
    onset_ms = story.onset_ms
    lost = [
        Spell(max(s.from_ms, onset_ms), s.to_ms) for s in lost if onset_ms is not None and (s.to_ms or 0) > onset_ms
    ]
    return Truth(
        plateau_pct=plateau_pct,
        visible_ms=_last_before(joined(lost), story.shutdown_ms),
        visible_first_ms=lost[0].from_ms if lost else None,
        amber_ms=_first(story, low & (story.time_ms >= onset_ms)) if onset_ms is not None else None,
        fast_ms=_fast_fall(story, warm),
        low=low,
    )


def is_nuisance(story: Story, truth: Truth, at_ms: int) -> bool:
    """Whether a ward alert at this moment was about nothing: no amber within 6 h and no shutdown within 24 h."""
    if story.shutdown_ms is not None and at_ms - JUST_BEFORE_MS <= story.shutdown_ms <= at_ms + SHUTDOWN_WITHIN_MS:
        return False
    first, last = np.searchsorted(story.time_ms, [at_ms - JUST_BEFORE_MS, at_ms + AMBER_WITHIN_MS])
    return not bool(truth.low[first:last].any())


def would_have_been_right(story: Story, at_ms: int, flow_lpm: float) -> bool:
    """Whether purity would have gone under amber within 6 h, had the flow at the alert been kept."""
    first, last = np.searchsorted(story.time_ms, [at_ms - JUST_BEFORE_MS, at_ms + AMBER_WITHIN_MS])
    rows = np.arange(first, max(first + 1, last)).clip(0, len(story.time_ms) - 1)
    return bool((story.steady(flow_lpm, rows) < story.model.amber_pct).any())


def warmed_up(story: Story) -> Flags:
    """Rows at which the unit runs and has warmed up; a story that begins with it running has it warmed up."""
    starts = story.running & ~np.concatenate([[True], story.running[:-1]])
    began_ms = np.maximum.accumulate(np.where(starts, story.time_ms, story.time_ms[0] - DAY_MS))
    warm: Flags = story.running & (story.time_ms - began_ms >= story.model.warm_up_min * MINUTE_MS)
    return warm


def _plateau(story: Story, warm: Flags) -> float:
    """What the unit gave in the half day before the onset, but no more than its best at an easy flow, in %.

    A unit that is used near its limit stands lower than at an easy flow though nothing is wrong with it.
    """
    until_ms = story.onset_ms if story.onset_ms is not None else int(story.time_ms[-1])
    before = story.time_ms <= until_ms
    rows = np.flatnonzero(before)[:: max(1, len(story.time_ms) // 200)]
    easy = max(float(np.median(story.steady(share * story.model.rated_flow_lpm, rows))) for share in _EASY)
    stood = story.true_purity_pct[warm & before & (story.time_ms >= until_ms - DAY_MS // 2)]
    return min(easy, float(np.median(stood))) if len(stood) else easy


def _lasting(story: Story, lost: Flags) -> list[Spell]:
    """Losses that have lasted long enough to be visible, each from the moment when they had."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], lost.astype(np.int8), [0]])))
    spells = []
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        from_ms, to_ms = int(story.time_ms[first]) + VISIBLE_MS, int(story.time_ms[end - 1])
        if from_ms <= to_ms:
            spells.append(Spell(from_ms, to_ms))
    return spells


def _last_before(spells: list[Spell], at_ms: int | None) -> int | None:
    if at_ms is None:
        return None
    before = [s for s in spells if s.from_ms < at_ms and s.to_ms is not None and s.to_ms >= at_ms - PAUSE_MS]
    return before[-1].from_ms if before else None


def _first(story: Story, flags: Flags) -> int | None:
    rows = np.flatnonzero(flags)
    return int(story.time_ms[rows[0]]) if len(rows) else None


def _fast_fall(story: Story, warm: Flags) -> int | None:
    """When the last fall before the shutdown left amber behind, if it was under red within a minute of it."""
    if story.shutdown_ms is None:
        return None
    upto = warm & (story.time_ms < story.shutdown_ms)
    well = np.flatnonzero(upto & (story.true_purity_pct >= story.model.amber_pct))
    if not len(well):
        return None
    after = np.arange(len(upto)) > well[-1]
    red = np.flatnonzero(after & upto & (story.true_purity_pct < story.model.red_pct))
    if not len(red) or story.time_ms[red[0]] - story.time_ms[well[-1]] > FAST_MS:
        return None
    return int(story.time_ms[well[-1] + 1])
