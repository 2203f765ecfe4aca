"""One story judged: what the product and the two baselines said of it, against what was true.

A story is made, judged and forgotten; only the figures of `Judged` are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec
import numpy as np

from collector.rules.limits import LIMITS
from simulator.trial import baselines, coverage
from simulator.trial.coverage import Checked
from simulator.trial.spells import DAY_MS, HOUR_MS, MINUTE_MS, Spell, in_force
from simulator.trial.story import Story
from simulator.trial.told import OTHER, OUTPUT, Alarm, Told, tell
from simulator.trial.truth import Truth, is_nuisance, truth_of, would_have_been_right

PRODUCT: Final = "product"
LAMP: Final = "lamp-amber"
RED_LAMP: Final = "lamp-red"
LINE: Final = "straight-line"
WAYS: Final = (PRODUCT, LAMP, RED_LAMP, LINE)
#: Ageing, intake and compressor falls that last longer than this ought to be foreseen a day ahead.
SLOW_KINDS: Final = ("sieve-worn", "intake-blocked", "compressor-weak")
SLOW_MS: Final = 3 * DAY_MS
CAPACITY_FALLING: Final = "capacity-falling"
_BEFORE_EVERYTHING: Final = -(2**62)


class Way(msgspec.Struct, frozen=True):
    """What one way of warning did in one story.

    lead_min: from the alert in force at the shutdown to the shutdown; None: nobody was told. first_min: from the first
    alert since the onset, though it may have been over in between. fast_readings: after the
    first reading under amber of a fast fall, how many more until the alert (0 or less: by then; None: none in time).
    nuisance: alerts about nothing before the onset (all of the story when benign); nuisance_after: since the onset.
    """

    lead_min: float | None
    first_min: float | None
    fast_readings: int | None
    alerts: int
    nuisance: int
    nuisance_after: int


class Mark(msgspec.Struct, frozen=True):
    """One alarm of the product in minutes from the story's beginning; to_min None: it still stood at the end."""

    condition: str
    ward: bool
    from_min: float
    to_min: float | None


class Judged(msgspec.Struct, frozen=True):
    """The figures of one story; times in minutes or hours as their names say, None where there is no such moment.

    blind: no readings came when it shut off, and the ward had been told that. other_lead_min: the lead with every other
    word to the ward counted: overdraw, supply, "do not turn up". foreseen_h: from `capacity-falling` to amber.
    right_had_flow_stayed: nuisance alerts of the product that would have been none, had the flow at the alert stayed.
    """

    number: int
    name: str
    kind: str
    benign: bool
    seed: int
    readings: int
    days: float
    healthy_days: float
    shutdown: bool
    blind: bool
    fall_h: float | None
    visible_min: float | None
    visible_first_min: float | None
    fast: bool
    slow: bool
    foreseen_h: float | None
    other_lead_min: float | None
    right_had_flow_stayed: int
    cause: str
    ways: dict[str, Way]
    checked: list[Checked]
    marks: list[Mark]


def judge(story: Story, number: int = 0) -> Judged:
    """Run the product's rules and the baselines over one story's recording and judge them."""
    truth = truth_of(story)
    told = tell(story, coverage.moments_of(story))
    spells = spells_of_ways(story, told)
    first_ms, last_ms = int(story.time_ms[0]), int(story.time_ms[-1])
    healthy_ms = (story.onset_ms if story.onset_ms is not None else last_ms) - first_ms
    slow = _is_slow(story, truth)
    return Judged(
        number=number, name=story.name, kind=story.kind, benign=story.benign, seed=story.seed, readings=told.readings,
        days=(last_ms - first_ms) / DAY_MS, healthy_days=healthy_ms / DAY_MS, shutdown=story.shutdown_ms is not None,
        blind=_is_blind(story, told),
        fall_h=_between(story.onset_ms, story.shutdown_ms, HOUR_MS),
        visible_min=_between(truth.visible_ms, story.shutdown_ms, MINUTE_MS),
        visible_first_min=_between(truth.visible_first_ms, story.shutdown_ms, MINUTE_MS),
        fast=_first_under(story, truth) is not None, slow=slow,
        foreseen_h=_foreseen_h(story, truth, told) if slow else None,
        other_lead_min=_lead_min(story, told.spells((*OTHER, *OUTPUT), ward=True)),
        right_had_flow_stayed=_right_had_flow_stayed(story, truth, told), cause=told.cause,
        ways={name: _way(story, truth, spells[name]) for name in WAYS},
        checked=coverage.check(story, told.snapshots),
        marks=[_mark(alarm, first_ms) for alarm in told.alarms if not _is_thinning(story, alarm)],
    )  # fmt: skip


def spells_of_ways(story: Story, told: Told) -> dict[str, list[Spell]]:
    """The ward alerts of the product and of each baseline."""
    seen = baselines.seen_by_unit(story)
    model = story.model
    return {
        PRODUCT: told.spells(OUTPUT, ward=True),
        LAMP: baselines.lamp(seen, model.amber_pct),
        RED_LAMP: baselines.lamp(seen, model.red_pct),
        LINE: baselines.straight_line(seen, model.red_pct, baselines.notice_min(story)),
    }


def _tells_ward(alarm: Alarm) -> bool:
    return alarm.ward and alarm.condition in OUTPUT


def _way(story: Story, truth: Truth, spells: Sequence[Spell]) -> Way:
    about_nothing = [spell.from_ms for spell in spells if is_nuisance(story, truth, spell.from_ms)]
    onset_ms = story.onset_ms
    before = sum(onset_ms is None or at_ms < onset_ms for at_ms in about_nothing)
    return Way(
        lead_min=_lead_min(story, spells),
        first_min=_first_min(story, spells),
        fast_readings=_fast_readings(story, truth, spells),
        alerts=len(spells),
        nuisance=before,
        nuisance_after=len(about_nothing) - before,
    )


def _lead_min(story: Story, spells: Sequence[Spell]) -> float | None:
    if story.shutdown_ms is None:
        return None
    since_ms = story.onset_ms if story.onset_ms is not None else _BEFORE_EVERYTHING
    return _between(in_force(spells, story.shutdown_ms, since_ms), story.shutdown_ms, MINUTE_MS)


def _first_min(story: Story, spells: Sequence[Spell]) -> float | None:
    shutdown_ms, onset_ms = story.shutdown_ms, story.onset_ms
    if shutdown_ms is None or onset_ms is None:
        return None
    since = [
        max(s.from_ms, onset_ms) for s in spells if s.from_ms < shutdown_ms and (s.to_ms or shutdown_ms) > onset_ms
    ]
    return _between(min(since, default=None), shutdown_ms, MINUTE_MS)


def _first_under(story: Story, truth: Truth) -> int | None:
    """The first reading under amber of a fast fall, before the shutdown; None: there was no such fall or reading."""
    if truth.fast_ms is None or story.shutdown_ms is None:
        return None
    purity, time_ms = story.measured["purity_pct"], story.time_ms
    under = np.flatnonzero(
        (time_ms >= truth.fast_ms) & (time_ms < story.shutdown_ms) & (purity < story.model.amber_pct)
    )
    return int(time_ms[under[0]]) if len(under) else None


def _fast_readings(story: Story, truth: Truth, spells: Sequence[Spell]) -> int | None:
    """Readings from the first one under amber to the alert, both in the recording."""
    under_ms = _first_under(story, truth)
    if under_ms is None or story.shutdown_ms is None:
        return None
    alert_ms = in_force(spells, story.shutdown_ms, _BEFORE_EVERYTHING)
    if alert_ms is None:
        return None
    measured_ms = story.time_ms[~np.isnan(story.measured["purity_pct"])]
    first, alert = np.searchsorted(measured_ms, [under_ms, alert_ms])
    return int(alert - first)


def _is_blind(story: Story, told: Told) -> bool:
    if story.shutdown_ms is None:
        return False
    silent = told.spells(("readings-absent",), ward=True)
    return any(s.from_ms < story.shutdown_ms and (s.to_ms is None or s.to_ms > story.shutdown_ms) for s in silent)


def _is_slow(story: Story, truth: Truth) -> bool:
    if story.kind not in SLOW_KINDS or story.onset_ms is None or truth.amber_ms is None:
        return False
    return truth.amber_ms - story.onset_ms > SLOW_MS


def _foreseen_h(story: Story, truth: Truth, told: Told) -> float | None:
    """From the first `capacity-falling` that was not over by the onset to purity under amber; None: none before it."""
    onset_ms, amber_ms = story.onset_ms or 0, truth.amber_ms or 0
    spells = [s for s in told.spells((CAPACITY_FALLING,)) if s.to_ms is None or s.to_ms > onset_ms]
    first_ms = min((spell.from_ms for spell in spells), default=amber_ms)
    return (amber_ms - max(first_ms, onset_ms)) / HOUR_MS if first_ms < amber_ms else None


def _is_thinning(story: Story, alarm: Alarm) -> bool:
    """Whether an alarm says only that a long story has a reading a minute: the rules' silence is for every 10 s."""
    return alarm.condition == "readings-absent" and float(np.median(np.diff(story.time_ms))) > LIMITS.absent_ms / 4


def _right_had_flow_stayed(story: Story, truth: Truth, told: Told) -> int:
    """Of the product's nuisance alerts before the onset: those that were right about the flow in use."""
    upto_ms = story.onset_ms if story.onset_ms is not None else int(story.time_ms[-1]) + 1
    early = [a for a in told.alarms if _tells_ward(a) and a.spell.from_ms < upto_ms]
    doubtful = [a for a in early if is_nuisance(story, truth, a.spell.from_ms)]
    return sum(a.flow_lpm is not None and would_have_been_right(story, a.spell.from_ms, a.flow_lpm) for a in doubtful)


def _mark(alarm: Alarm, first_ms: int) -> Mark:
    to_ms = alarm.spell.to_ms
    return Mark(
        alarm.condition,
        alarm.ward,
        (alarm.spell.from_ms - first_ms) / MINUTE_MS,
        None if to_ms is None else (to_ms - first_ms) / MINUTE_MS,
    )


def _between(from_ms: int | None, to_ms: int | None, unit_ms: int) -> float | None:
    return None if from_ms is None or to_ms is None else (to_ms - from_ms) / unit_ms
