"""The figures of a trial: from the stories judged one by one to leads, nuisance, coverage, causes and targets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Final

import msgspec
import numpy as np

from simulator.trial.burden import Burden, burden_of
from simulator.trial.coverage import CAPACITY, COVERED, EARLY, LATE, UNDECIDED, Checked
from simulator.trial.judge import LAMP, PRODUCT, WAYS, Judged, Way
from simulator.trial.story import FAULT_KINDS

ALL: Final = "all"
FALLS: Final = "falls"  # stories in which the unit itself fails
SENSOR: Final = "sensor-fault"
_MONTH_DAYS: Final = 30.0
_HOUR_MIN: Final = 60.0


class Leads(msgspec.Struct, frozen=True):
    """Lead before shutdown of one cause by one way, in minutes; a shutdown nobody was told of counts as lead 0.

    A lead is that of the alert in force at the shutdown; first_p50 is the median from the first alert since the onset.
    """

    cause: str
    way: str
    shutdowns: int
    missed: int
    least: float
    p10: float
    p50: float
    p90: float
    first_p50: float
    of_lamp: float | None  # ratio of medians: this way's to the amber lamp's


class Nuisance(msgspec.Struct, frozen=True):
    """Alerts about nothing of one way: in benign stories and the healthy part of faults, and with a wrong sensor."""

    way: str
    alerts: int
    unit_months: float
    per_unit_month: float
    sensor_alerts: int
    sensor_unit_months: float
    after_onset: int


class Visible(msgspec.Struct, frozen=True):
    """Losses that were visible an hour or more before the shutdown, and what one way of warning made of that time.

    first_*: the same, had the loss counted from when it was first visible after the onset, though it went away again.
    """

    way: str
    stories: int
    half_hour_share: float | None
    used_p50: float | None
    first_stories: int
    first_half_hour_share: float | None
    first_used_p50: float | None


class Fast(msgspec.Struct, frozen=True):
    """Falls through amber to red within a minute: how many readings after the first one under amber until an alert."""

    way: str
    falls: int
    within_three: int
    untold: int
    p50: float | None
    most: int | None


class Coverage(msgspec.Struct, frozen=True):
    """Intervals from p05 to p95 that held what came true: each forecast alike, and each story alike.

    open_share: intervals without an upper end, which cannot be missed from above. before_p50: the share of truths that
    came before the median; a half when the forecast leans to no side.
    """

    kind: str
    of: str
    stories: int
    forecasts: int
    share: float | None
    share_by_story: float | None
    early: int
    late: int
    undecided: int
    open_share: float | None
    before_p50: float | None


class Causes(msgspec.Struct, frozen=True):
    """Causes told against true ones, counts by (true, told), and the share that was right."""

    stories: int
    right: int
    table: dict[str, dict[str, int]]


class Figures(msgspec.Struct, frozen=True):
    """Everything that a trial measured."""

    stories: int
    benign: int
    readings: int
    unit_days: float
    shutdowns: int
    missed: int
    missed_blind: int  # of those missed: no readings came, and the ward had been told so
    missed_with_others: int
    right_had_flow_stayed: int
    nuisance_by_kind: dict[str, int]
    leads: list[Leads]
    nuisance: list[Nuisance]
    visible: list[Visible]
    fast: list[Fast]
    slow_falls: int
    slow_foreseen: int
    falling_per_benign_month: float
    coverage: list[Coverage]
    causes: Causes
    burden: Burden


def figures_of(stories: Sequence[Judged], seed: int) -> Figures:
    """Put the figures of single stories together; the order of stories does not matter but for the wards' lay-out."""
    shut = [story for story in stories if story.shutdown]
    slow = [story for story in stories if story.slow]
    missed = [story for story in shut if not story.ways[PRODUCT].lead_min]
    return Figures(
        stories=len(stories), benign=sum(story.benign for story in stories),
        readings=sum(story.readings for story in stories), unit_days=sum(story.days for story in stories),
        shutdowns=len(shut), missed=len(missed), missed_blind=sum(story.blind for story in missed),
        missed_with_others=sum(not story.other_lead_min for story in shut),
        right_had_flow_stayed=sum(s.right_had_flow_stayed for s in stories if s.kind != SENSOR),
        nuisance_by_kind=_by_kind(stories), leads=list(_leads(shut)),
        nuisance=[_nuisance(stories, way) for way in WAYS],
        visible=[_visible(shut, way) for way in WAYS], fast=[_fast(stories, way) for way in WAYS],
        slow_falls=len(slow), slow_foreseen=sum((story.foreseen_h or 0.0) >= 24 for story in slow),
        falling_per_benign_month=_falling(stories), coverage=list(_coverages(stories)), causes=_causes(stories),
        burden=burden_of(stories, seed),
    )  # fmt: skip


def _leads(shut: Sequence[Judged]) -> Iterable[Leads]:
    kinds = [kind for kind in FAULT_KINDS if any(story.kind == kind for story in shut)]
    for kind in [ALL, *kinds]:
        chosen = [story for story in shut if kind in (ALL, story.kind)]
        lamp_p50 = float(np.median([_lead(story.ways[LAMP]) for story in chosen])) if chosen else 0.0
        for way in WAYS if chosen else ():
            leads = np.array([_lead(story.ways[way]) for story in chosen])
            p10, p50, p90 = (float(q) for q in np.quantile(leads, [0.1, 0.5, 0.9]))
            first_p50 = float(np.median([story.ways[way].first_min or 0.0 for story in chosen]))
            yield Leads(kind, way, len(leads), int(np.sum(leads == 0)), float(leads.min()), p10, p50, p90, first_p50,
                        p50 / lamp_p50 if lamp_p50 else None)  # fmt: skip


def _lead(way: Way) -> float:
    return way.lead_min or 0.0


def _nuisance(stories: Sequence[Judged], way: str) -> Nuisance:
    real = [story for story in stories if story.kind != SENSOR]
    wrong = [story for story in stories if story.kind == SENSOR]
    alerts, months = sum(s.ways[way].nuisance for s in real), sum(s.healthy_days for s in real) / _MONTH_DAYS
    return Nuisance(
        way=way,
        alerts=alerts,
        unit_months=months,
        per_unit_month=alerts / months if months else 0.0,
        sensor_alerts=sum(s.ways[way].nuisance + s.ways[way].nuisance_after for s in wrong),
        sensor_unit_months=sum(s.days for s in wrong) / _MONTH_DAYS,
        after_onset=sum(s.ways[way].nuisance_after for s in real),
    )


def _by_kind(stories: Sequence[Judged]) -> dict[str, int]:
    """The product's nuisance alerts by kind of story, most first."""
    counts = Counter[str]()
    for story in stories:
        if story.kind != SENSOR:
            counts[story.kind] += story.ways[PRODUCT].nuisance
    return {kind: count for kind, count in counts.most_common() if count}


def _visible(shut: Sequence[Judged], way: str) -> Visible:
    last = [(s.visible_min, _lead(s.ways[way])) for s in shut if s.visible_min is not None]
    first = [(s.visible_first_min, _lead(s.ways[way])) for s in shut if s.visible_first_min is not None]
    long = [(visible, lead) for visible, lead in last if visible >= _HOUR_MIN]
    long_first = [(visible, lead) for visible, lead in first if visible >= _HOUR_MIN]
    return Visible(way, len(long), *_used(long), len(long_first), *_used(long_first))


def _used(pairs: Sequence[tuple[float, float]]) -> tuple[float | None, float | None]:
    """The share of losses with half an hour's lead, and the median share of the visible time that the alert used."""
    if not pairs:
        return None, None
    used = [min(1.0, lead / visible) for visible, lead in pairs]
    return sum(lead >= 30.0 for _visible_min, lead in pairs) / len(pairs), float(np.median(used))


def _fast(stories: Sequence[Judged], way: str) -> Fast:
    falls = [story.ways[way].fast_readings for story in stories if story.fast]
    told = [count for count in falls if count is not None]
    return Fast(
        way, len(falls), sum(count <= 3 for count in told), len(falls) - len(told),
        float(np.median(told)) if told else None, max(told, default=None),
    )  # fmt: skip


def _falling(stories: Sequence[Judged]) -> float:
    benign = [story for story in stories if story.benign]
    months = sum(story.days for story in benign) / _MONTH_DAYS
    raised = sum(mark.condition == "capacity-falling" for story in benign for mark in story.marks)
    return raised / months if months else 0.0


def _coverages(stories: Sequence[Judged]) -> Iterable[Coverage]:
    kinds = list(dict.fromkeys(story.kind for story in sorted(stories, key=lambda s: (s.benign, s.kind))))
    for of in ("amber", "red", "shutdown"):
        yield coverage_of(stories, ALL, of, lambda checked, of=of: checked.of == of)  # type: ignore[misc]
    falls = [story for story in stories if not story.benign and story.kind != SENSOR]
    for kind in [ALL, FALLS, *kinds]:
        chosen = falls if kind == FALLS else [story for story in stories if kind in (ALL, story.kind)]
        yield coverage_of(chosen, kind, ALL, lambda checked: checked.of != CAPACITY)
        yield coverage_of(chosen, kind, CAPACITY, lambda checked: checked.of == CAPACITY)


def coverage_of(stories: Sequence[Judged], kind: str, of: str, wanted: Callable[[Checked], bool]) -> Coverage:
    """The coverage of the wanted intervals of these stories."""
    verdicts = [Counter(c.verdict for c in story.checked if wanted(c)) for story in stories]
    decided = [(v[COVERED], v[COVERED] + v[EARLY] + v[LATE]) for v in verdicts]
    judged = [covered / count for covered, count in decided if count]
    count = sum(count for _covered, count in decided)
    intervals = [c for story in stories for c in story.checked if wanted(c) and c.verdict != UNDECIDED]
    halves = [
        c.truth is not None and c.truth < c.p50 for c in intervals if c.p50 and (c.truth or c.known_until >= c.p50)
    ]
    return Coverage(
        kind, of, len(judged), count, sum(covered for covered, _count in decided) / count if count else None,
        float(np.mean(judged)) if judged else None, sum(v[EARLY] for v in verdicts), sum(v[LATE] for v in verdicts),
        sum(v[UNDECIDED] for v in verdicts),
        sum(c.p95 is None for c in intervals) / len(intervals) if intervals else None,
        float(np.mean(halves)) if halves else None,
    )  # fmt: skip


def _causes(stories: Sequence[Judged]) -> Causes:
    judged = [story for story in stories if story.shutdown or story.kind == SENSOR]
    table: dict[str, dict[str, int]] = {}
    for story in judged:
        row = table.setdefault(story.kind, {})
        row[story.cause] = row.get(story.cause, 0) + 1
    return Causes(len(judged), sum(story.kind == story.cause for story in judged), table)
