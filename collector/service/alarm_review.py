"""What an alarm analysis looks at beside the load: which alarms came most, which stood long, how soon people said so.

The terms are those of ISA-18.2 / IEC 62682: the most frequent, chattering and stale alarms are the ones to look at
first (alarm_load.py has their definitions). An acknowledgement belongs to the last raising before it of the same unit
(or ward) and condition; one that never came is counted apart and not as a long time. Shifts: 6, 14 and 22 h (common
practice, no source).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping, Sequence
from math import ceil
from statistics import median
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import alarm_key
from collector.rules.limits import MINUTE
from collector.service.alarm_load import STALE_MS, AlarmLoad, Raised, load_of
from collector.service.spans import Span

Key = tuple[str, str, str]
KINDS: Final = (entries.CONDITION, entries.ACKNOWLEDGE)
SHIFTS: Final = ("early", "late", "night")


class Frequent(msgspec.Struct, frozen=True, kw_only=True):
    """One alarm over the span: how often it was raised, its share of all, minutes it stood, and when it last came."""

    key: Key
    ward: str
    times: int
    share: float
    stood_min: float
    last_ms: int
    chattering: bool


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """How soon alarms of a ward and shift were acknowledged: minutes; None where none was. `without`: never were."""

    ward: str
    shift: str
    acknowledged: int
    median_min: float | None
    p90_min: float | None
    without: int


class Review(msgspec.Struct, frozen=True, kw_only=True):
    """An alarm analysis over a span: loads by ward, the most frequent first, those that stood long, and answers."""

    loads: Mapping[str, AlarmLoad]
    frequent: tuple[Frequent, ...]
    stale: tuple[tuple[str, Raised], ...]
    answers: tuple[Answer, ...]


def review(
    raised: Mapping[str, Sequence[Raised]], acknowledged: Mapping[Key, Sequence[int]], window: Span,
    shift_of: Callable[[int], str],
) -> Review:  # fmt: skip
    """The analysis; `raised` by ward (alarm_load.raised_of), acknowledged (acks_of), both of the whole record."""
    loads = {ward: load_of(ward, alarms, window) for ward, alarms in raised.items()}
    inside = [(ward, alarm) for ward, alarms in raised.items() for alarm in alarms
              if window[0] <= alarm.from_ms < window[1]]  # fmt: skip
    chattering = {key for load in loads.values() for key in load.chattering}
    stale = [(ward, alarm) for ward, alarms in raised.items() for alarm in alarms if _stood_long(alarm, window)]
    return Review(
        loads=loads, frequent=_frequent(inside, chattering, window),
        stale=tuple(sorted(stale, key=lambda one: one[1].from_ms)),
        answers=tuple(_answers(inside, acknowledged, raised, shift_of)),
    )  # fmt: skip


def acks_of(rows: Iterable[JournalRow]) -> dict[Key, list[int]]:
    """When each alarm was acknowledged, by what identifies it, oldest first."""
    found: dict[Key, list[int]] = {}
    for row in rows:
        if row.kind == entries.ACKNOWLEDGE:
            found.setdefault(alarm_key(row.unit, row.ward, row.condition), []).append(row.at_ms)
    return {key: sorted(moments) for key, moments in found.items()}


def shift_at(hour: int) -> str:
    """The shift of an hour of the day."""
    return SHIFTS[0] if 6 <= hour < 14 else SHIFTS[1] if 14 <= hour < 22 else SHIFTS[2]


def _frequent(inside: Sequence[tuple[str, Raised]], chattering: set[Key], window: Span) -> tuple[Frequent, ...]:
    by_key: dict[Key, list[tuple[str, Raised]]] = {}
    for ward, alarm in inside:
        by_key.setdefault(alarm.key, []).append((ward, alarm))
    found = [
        Frequent(
            key=key, ward=ours[-1][0], times=len(ours), share=len(ours) / len(inside),
            stood_min=sum(_end(alarm, window) - alarm.from_ms for _, alarm in ours) / MINUTE,
            last_ms=max(alarm.from_ms for _, alarm in ours), chattering=key in chattering,
        )
        for key, ours in by_key.items()
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda one: (-one.times, -one.stood_min, one.key)))


def _end(alarm: Raised, window: Span) -> int:
    return window[1] if alarm.to_ms is None else min(alarm.to_ms, window[1])


def _stood_long(alarm: Raised, window: Span) -> bool:
    return _end(alarm, window) > window[0] and _end(alarm, window) - alarm.from_ms > STALE_MS


def _answers(
    inside: Sequence[tuple[str, Raised]], acknowledged: Mapping[Key, Sequence[int]],
    raised: Mapping[str, Sequence[Raised]], shift_of: Callable[[int], str],
) -> list[Answer]:  # fmt: skip
    begins: dict[Key, list[int]] = {}
    for alarm in (alarm for alarms in raised.values() for alarm in alarms):
        begins.setdefault(alarm.key, []).append(alarm.from_ms)
    begins = {key: sorted(moments) for key, moments in begins.items()}
    took: dict[tuple[str, str], list[float | None]] = {}
    for ward, alarm in inside:
        answer = _answer_min(alarm, acknowledged.get(alarm.key, ()), begins[alarm.key])
        took.setdefault((ward, shift_of(alarm.from_ms)), []).append(answer)
    return [_answer(ward, shift, found) for (ward, shift), found in
            sorted(took.items(), key=lambda one: (one[0][0], SHIFTS.index(one[0][1])))]  # fmt: skip


def _answer_min(alarm: Raised, acks: Sequence[int], begins: Sequence[int]) -> float | None:
    """Minutes until the first acknowledgement before the same alarm came again; None when there was none."""
    after = bisect_left(begins, alarm.from_ms + 1)
    until_ms = begins[after] if after < len(begins) else None
    place = bisect_left(acks, alarm.from_ms)
    if place == len(acks) or (until_ms is not None and acks[place] >= until_ms):
        return None
    return (acks[place] - alarm.from_ms) / MINUTE


def _answer(ward: str, shift: str, found: Sequence[float | None]) -> Answer:
    known = sorted(one for one in found if one is not None)
    return Answer(
        ward=ward, shift=shift, acknowledged=len(known), median_min=median(known) if known else None,
        p90_min=known[ceil(0.9 * len(known)) - 1] if known else None, without=len(found) - len(known),
    )  # fmt: skip
