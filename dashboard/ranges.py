"""Forecast times in words: always a range, rounded outwards, never a single moment; pure."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, floor, inf
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from collector.rules.events import Quantiles
from dashboard import capacity_words
from dashboard.times import MINUTE, moment_text

_HOUR_MIN: Final = 60
_DAY_MIN: Final = 1440
#: Below this many minutes a value is told in steps of so many, in this unit of so many minutes.
_STEPS: Final = ((10, 1, 1, "min"), (2 * _HOUR_MIN, 5, 1, "min"), (2 * _DAY_MIN, _HOUR_MIN, _HOUR_MIN, "h"),
                 (inf, _DAY_MIN, _DAY_MIN, "days"))  # fmt: skip

#: A range that spans days and this many times its beginning says no more than when it begins.
_VAGUE: Final = 12


class Range(NamedTuple):
    """Minutes from now: nine chances in ten lie between `early` and `late`; None lies beyond what is forecast."""

    early: float | None
    middle: float | None
    late: float | None
    passed: bool = False  # it was reached already when the forecast was made


def range_of(quantiles: Quantiles, age_ms: int = 0) -> Range:
    """A forecast's range as it stands age_ms after it was made."""
    early, middle, late = (_left(quantiles.get(name), age_ms / MINUTE) for name in ("p05", "p50", "p95"))
    return Range(early, middle, late, quantiles.get("p95") == 0)


def _left(minutes: float | None, gone_min: float) -> float | None:
    return None if minutes is None else max(0.0, minutes - gone_min)


def range_text(found: Range) -> str:
    """Such as “3 to 9 h”, as it stands in a table."""
    if found.passed:
        return capacity_words.REACHED
    if found.early is None:
        return capacity_words.NOT_FORESEEN
    if found.late is None:
        return capacity_words.or_later(_amount(found.early, floor)) if found.early >= 1 else capacity_words.ANY_TIME
    if found.late < 1:
        return capacity_words.BY_NOW
    if found.early >= 1 and found.late > max(_VAGUE * found.early, _DAY_MIN):
        return capacity_words.or_later(_amount(found.early, floor))
    return capacity_words.within(_amount(found.late, ceil)) if found.early < 1 else _between(found.early, found.late)


def when_text(found: Range) -> str:
    """Such as “in 3 to 9 h”, as it stands in a sentence."""
    said = range_text(found)
    return f"in {said}" if said[0].isdigit() or said.startswith(capacity_words.ABOUT) else said


def clock_range(quantiles: Quantiles, at_ms: int, now_ms: int, zone: ZoneInfo) -> str:
    """The same by the clock, such as “between 17:20 and 18:10”: it stays true as it ages; "" when not foreseen."""
    early, late = quantiles.get("p05"), quantiles.get("p95")
    if early is None:
        return ""
    first = moment_text(at_ms + int(early * MINUTE), now_ms, zone)
    if late is None:
        return capacity_words.from_on(first)
    last = moment_text(at_ms + int(late * MINUTE), now_ms, zone)
    if first == last:
        return capacity_words.about(last)
    day, _, clock = last.rpartition(" ")
    return capacity_words.between(first, clock if day and first.startswith(f"{day} ") else last)


def _between(early: float, late: float) -> str:
    first, last = _amount(early, floor), _amount(late, ceil)
    if first == last:
        return capacity_words.about(last)
    number, unit = first.split(" ")
    return f"{number} to {last}" if last.endswith(f" {unit}") else f"{first} to {last}"


def _amount(minutes: float, rounded: Callable[[float], int]) -> str:
    for below, step, unit_min, name in _STEPS:
        value = rounded(minutes / step) * step
        if value < below:
            return f"{value // unit_min} {name}"
    raise AssertionError("the last step has no end")
