"""What the alerts would be like to live with: rates, floods, chattering and stale alarms of wards laid out of stories.

Stories are laid end to end on beds of a month, twenty beds are a ward. There are far more failures on them than any
hospital has, so rates and floods are an upper bound. Measures after EEMUA 191 and ISA-18.2 / IEC 62682: a flood begins
with more than 10 alarms in 10 minutes; chattering is the same alarm three times in a minute; stale is an alarm that
stands for more than 24 h (seen in secondary sources).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Final

import msgspec
import numpy as np

from simulator.trial.judge import Judged, Mark

BEDS: Final = 20
BED_DAYS: Final = 30.0
FLOOD: Final = 10
PERIOD_MIN: Final = 10.0
STALE_MIN: Final = 24 * 60.0
_DAY_MIN: Final = 24 * 60.0


class Burden(msgspec.Struct, frozen=True):
    """Alarm-system measures; per_hour, peak and flood are of wards of twenty units and of what the ward hears."""

    unit_days: float
    per_unit_day: float
    ward_per_unit_day: float
    ward_per_hour: float
    ward_peak_per_10_min: int
    flood_share: float
    chattering_minute: int
    chattering_hour: int
    stale: dict[str, int]
    raised: dict[str, int]


def burden_of(stories: Sequence[Judged], seed: int) -> Burden:
    """Measure what the product raised in all these stories."""
    days = sum(story.days for story in stories) or 1.0
    marks = [mark for story in stories for mark in story.marks]
    heard = sum(mark.ward for mark in marks)
    periods = _periods(stories, seed)
    return Burden(
        unit_days=days,
        per_unit_day=len(marks) / days,
        ward_per_unit_day=heard / days,
        ward_per_hour=heard / days / 24 * BEDS,
        ward_peak_per_10_min=int(periods.max(initial=0)),
        flood_share=float(np.mean(periods > FLOOD)) if len(periods) else 0.0,
        chattering_minute=sum(_chatters(story.marks, 1.0) for story in stories),
        chattering_hour=sum(_chatters(story.marks, 60.0) for story in stories),
        stale=_counted(mark.condition for story in stories for mark in story.marks if _is_stale(mark, story.days)),
        raised=_counted(mark.condition for mark in marks),
    )


def _periods(stories: Sequence[Judged], seed: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Alarms that a ward hears in each of its ten-minute periods, ward after ward."""
    order = np.random.default_rng(seed).permutation(len(stories))
    bed, day = 0, 0.0
    moments: dict[int, list[float]] = defaultdict(list)
    for index in order:
        story = stories[index]
        moments[bed // BEDS] += [day * _DAY_MIN + mark.from_min for mark in story.marks if mark.ward]
        day += story.days
        if day >= BED_DAYS:
            bed, day = bed + 1, 0.0
    wards = bed // BEDS + 1
    edges = np.arange(0.0, 2 * BED_DAYS * _DAY_MIN + PERIOD_MIN, PERIOD_MIN)
    counts = [np.histogram(moments[ward], edges)[0] for ward in range(wards)]
    return np.concatenate([count[: int(BED_DAYS * _DAY_MIN / PERIOD_MIN)] for count in counts])


def _chatters(marks: Sequence[Mark], within_min: float) -> int:
    """Conditions of one story that were raised three times within so many minutes."""
    raised: dict[str, list[float]] = defaultdict(list)
    for mark in marks:
        raised[mark.condition].append(mark.from_min)
    return sum(any(third - first <= within_min for first, third in zip(at, at[2:], strict=False))
               for at in raised.values())  # fmt: skip


def _is_stale(mark: Mark, days: float) -> bool:
    end = mark.to_min if mark.to_min is not None else days * _DAY_MIN
    return end - mark.from_min > STALE_MIN


def _counted(names: Iterable[str]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for name in names:
        counts[name] = counts.get(name, 0) + 1
    return dict(sorted(counts.items()))
