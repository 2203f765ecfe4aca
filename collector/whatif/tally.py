"""What is counted of two runs while they go on, and what it comes to."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from itertools import accumulate
from typing import Final, Literal

import msgspec

from collector.rules.events import PRIORITIES, Priority
from collector.rules.limits import DAY, MINUTE
from collector.whatif.changes import Change

UNIT_MONTH_MS: Final = 30 * DAY
Kind = Literal["new", "gone", "earlier", "later", "priority", "split", "joined", "same"]


class Difference(msgspec.Struct, frozen=True, kw_only=True):
    """One alarm that the change alters: raised when today, when with the change, and how much later (minus: earlier).

    "split": raised with the change while today's stood on; "joined": today's second raising is part of one that stands
    on with the change. "new" and "gone" have nothing beside them in the other run. "priority": raised at the same
    moment, but it comes to high priority at another, `today_high` and `changed_high` (None: never).
    """

    kind: Kind
    condition: str
    unit: str
    ward: str
    priority: Priority
    today: str | None
    changed: str | None
    later_s: float | None = None
    today_high: str | None = None
    changed_high: str | None = None


#: How much a person wants to hear of a difference: what is lost first.
_WEIGHT: Final[dict[Kind, int]] = {
    "gone": 7, "later": 6, "new": 5, "priority": 4, "earlier": 3, "joined": 2, "split": 1, "same": 0,
}  # fmt: skip


def weight(difference: Difference) -> tuple[int, int, float]:
    """A difference's place in a list, the greatest first: by priority, then by what is lost, then by how much."""
    return PRIORITIES.index(difference.priority), _WEIGHT[difference.kind], abs(difference.later_s or 0.0)


class Spread:
    """Many spans of time in constant memory: their median to three digits, the least and the greatest."""

    def __init__(self) -> None:
        self._counts: Counter[float] = Counter()

    def add(self, span_ms: int) -> None:
        """Take in one span, 0 or more."""
        self._counts[float(f"{span_ms:.3g}")] += 1

    def spans(self) -> Spans | None:
        """What they come to; None when there are none."""
        if not self._counts:
            return None
        return Spans(*(round(ms / MINUTE, 2) for ms in (self._median_ms(), min(self._counts), max(self._counts))))

    def _median_ms(self) -> float:
        spans = sorted(self._counts)
        up_to = list(accumulate(self._counts[span] for span in spans))
        return spans[bisect_left(up_to, up_to[-1] / 2)]


class Spans(msgspec.Struct, frozen=True):
    """Median, least and greatest of many spans, in minutes."""

    median_min: float
    least_min: float
    greatest_min: float


class Stood(msgspec.Struct):
    """One condition in one run: how often raised, how often it came to high priority, how long it stood in all."""

    raised: int = 0
    high: int = 0
    hours: float = 0.0


class ConditionRow(msgspec.Struct):
    """One condition in both runs, and how its alarms of one are those of the other."""

    condition: str
    today: Stood
    changed: Stood
    same: int = 0
    earlier: int = 0
    later: int = 0
    priority: int = 0
    new: int = 0
    gone: int = 0
    split: int = 0
    joined: int = 0
    earlier_by: Spans | None = None
    later_by: Spans | None = None


class RunTotals(msgspec.Struct):
    """A whole run: `ward_alerts` are raisings that a ward is told; a unit-month is 30 days of one unit's readings.

    Of the `shutdowns` on low purity, `warned` found an alarm of low or expected low purity standing; `lead` is for how
    long it had stood then.
    """

    alarms: int = 0
    ward_alerts: int = 0
    ward_alerts_per_unit_month: float | None = None
    shutdowns: int = 0
    warned: int = 0
    lead: Spans | None = None


class Comparison(msgspec.Struct, kw_only=True):
    """What a change would have done: both runs side by side; `differences` are the gravest, the rest is left out."""

    first: str | None
    last: str | None
    readings: int
    late: int
    broken: int
    unknown_units: int
    units: int
    unit_months: float
    window_min: float
    changes: tuple[Change, ...]
    today: RunTotals
    changed: RunTotals
    conditions: list[ConditionRow]
    differences: list[Difference]


def difference_line(difference: Difference) -> bytes:
    """One JSON object, no newline."""
    return msgspec.json.encode(difference)
