"""Alarm load of a ward: what its nurses hear, against EEMUA 191 and ISA-18.2 / IEC 62682.

An alarm is a raising of a condition that is told to the ward. A ward is one place where alarms are heard, so figures
are of a ward and never of the fleet. Sources of the targets: EEMUA 191 as quoted (1 in 10 min on average is acceptable;
more than 10 in 10 min is a flood; standing for more than 24 h is stale; three times in a minute is chattering;
priorities about 80 / 15 / 5 %). From memory: a flood ends with a period under 5; under 1 % of periods above 10 and of
hours above 30; the ten most frequent give 5 % at most; fewer than 5 stale.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, PRIORITIES, RAISED, alarm_key
from collector.rules.limits import DAY, HOUR, MINUTE
from collector.service.spans import Span

PERIOD_MS: Final = 10 * MINUTE
FLOOD_FROM: Final = 10  # more than so many in a period begin a flood
FLOOD_UNTIL: Final = 5  # fewer than so many end it
HOUR_FROM: Final = 30
STALE_MS: Final = DAY
CHATTER_TIMES: Final = 3
CHATTER_MS: Final = MINUTE
TOP: Final = 10


class Raised(msgspec.Struct, frozen=True):
    """One alarm: who it is of, when it came and went (None: it stands), and how urgent it was at first."""

    key: tuple[str, str, str]
    from_ms: int
    to_ms: int | None
    priority: str


class AlarmLoad(msgspec.Struct, frozen=True, kw_only=True):
    """What a ward heard over `hours`; shares are of periods, hours or alarms, 0 to 1.

    top_share is that of the ten most frequent alarms; `stale` and `chattering` name [unit, ward, condition].
    """

    ward: str
    hours: float
    alarms: int
    per_10_min: float
    per_day: float
    most_in_10_min: int
    periods_over: float
    hours_over: float
    floods: int
    flood_share: float
    stale: tuple[tuple[str, str, str], ...]
    chattering: tuple[tuple[str, str, str], ...]
    priorities: Mapping[str, float]
    top_share: float

    @property
    def within(self) -> Mapping[str, bool]:
        """Which targets are met."""
        return {
            "average": self.per_10_min <= 1, "per day": self.per_day <= 150, "peaks": self.periods_over < 0.01,
            "busy hours": self.hours_over < 0.01, "floods": self.flood_share < 0.01, "stale": len(self.stale) < 5,
            "chattering": not self.chattering,
        }  # fmt: skip


def raised_of(rows: Iterable[JournalRow], audience: str = "ward") -> dict[str, list[Raised]]:
    """Alarms that an audience was told of, by the ward they were raised in; rows in the order of `seq`.

    A condition that was told to the engineer first and to the ward later is the ward's from then on.
    """
    open_now: dict[tuple[str, str, str], tuple[str, Raised]] = {}
    found: dict[str, list[Raised]] = {}
    for row in rows:
        if row.kind != entries.CONDITION:
            continue
        key, event = alarm_key(row.unit, row.ward, row.condition), row.body.get("event")
        if event == CLEARED:
            if (begun := open_now.pop(key, None)) is not None:
                ward, alarm = begun
                found.setdefault(ward, []).append(msgspec.structs.replace(alarm, to_ms=row.at_ms))
        elif audience in row.body.get("audience", ()) and (event == RAISED or key not in open_now):
            open_now.setdefault(key, (row.ward, Raised(key, row.at_ms, None, str(row.body.get("priority")))))
    for ward, alarm in open_now.values():
        found.setdefault(ward, []).append(alarm)
    return {ward: sorted(alarms, key=lambda alarm: (alarm.from_ms, alarm.key)) for ward, alarms in found.items()}


def load_of(ward: str, alarms: Sequence[Raised], window: Span) -> AlarmLoad:
    """A ward's load over a window, which is cut into periods of ten minutes from its beginning."""
    inside = [alarm for alarm in alarms if window[0] <= alarm.from_ms < window[1]]
    length_ms = max(1, window[1] - window[0])
    periods = _counts(inside, window, PERIOD_MS)
    by_hour = _counts(inside, window, HOUR)
    flooded = _floods(periods)
    often = Counter(alarm.key for alarm in inside)
    urgent = Counter(alarm.priority for alarm in inside)
    total = len(inside) or 1
    return AlarmLoad(
        ward=ward, hours=length_ms / HOUR, alarms=len(inside), per_10_min=len(inside) / (length_ms / PERIOD_MS),
        per_day=len(inside) / (length_ms / DAY), most_in_10_min=max(periods),
        periods_over=sum(count > FLOOD_FROM for count in periods) / len(periods),
        hours_over=sum(count > HOUR_FROM for count in by_hour) / len(by_hour),
        floods=len(flooded), flood_share=sum(end - start for start, end in flooded) / len(periods),
        stale=_named(alarm for alarm in alarms if _is_stale(alarm, window)), chattering=_chattering(inside),
        priorities={priority: urgent[priority] / total for priority in PRIORITIES},
        top_share=sum(count for _, count in often.most_common(TOP)) / total,
    )  # fmt: skip


def _counts(alarms: Sequence[Raised], window: Span, step_ms: int) -> list[int]:
    counts = [0] * max(1, -(-(window[1] - window[0]) // step_ms))
    for alarm in alarms:
        counts[(alarm.from_ms - window[0]) // step_ms] += 1
    return counts


def _floods(periods: Sequence[int]) -> list[tuple[int, int]]:
    """Floods as periods from and to: begun by one above ten, ended by the first below five."""
    found: list[tuple[int, int]] = []
    start: int | None = None
    for place, count in enumerate(periods):
        if start is None and count > FLOOD_FROM:
            start = place
        elif start is not None and count < FLOOD_UNTIL:
            found.append((start, place))
            start = None
    return found if start is None else [*found, (start, len(periods))]


def _is_stale(alarm: Raised, window: Span) -> bool:
    end_ms = min(alarm.to_ms if alarm.to_ms is not None else window[1], window[1])
    return end_ms > window[0] and end_ms - alarm.from_ms > STALE_MS


def _chattering(alarms: Sequence[Raised]) -> tuple[tuple[str, str, str], ...]:
    moments: dict[tuple[str, str, str], list[int]] = {}
    for alarm in alarms:
        moments.setdefault(alarm.key, []).append(alarm.from_ms)
    return tuple(sorted(
        key for key, at in moments.items()
        if any(last - first <= CHATTER_MS for first, last in zip(at, at[CHATTER_TIMES - 1 :], strict=False))
    ))  # fmt: skip


def _named(alarms: Iterable[Raised]) -> tuple[tuple[str, str, str], ...]:
    return tuple(sorted({alarm.key for alarm in alarms}))
