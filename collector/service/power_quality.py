"""Power quality by ward: sags, swells and losses of supply, from minutes of the readings and from the journal.

A minute is low when a unit of the ward read less than 0.9 of its nominal voltage but still had supply (half of it),
high above 1.1, without supply below half: the limits of collector/rules/limits.py. A sag is a stretch of low minutes, a
swell of high ones. Readings come every few seconds: shorter dips are not seen. EN 50160 asks that 95 % of a week's
means over ten minutes lie within 10 % of nominal (from memory); `ten_min_share` is that share over the span. Losses are
the journal's `supply-lost` and `ward-supply-lost`, since a reading may stop with the supply.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final, NamedTuple

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, RAISED, alarm_key
from collector.rules.limits import HOUR, LIMITS, MINUTE
from collector.service.spans import Span

LOSSES: Final = ("supply-lost", "ward-supply-lost")
TEN_MIN: Final = 10 * MINUTE
WORST: Final = 5


class Minute(NamedTuple):
    """A unit's supply in one minute, in V."""

    at_ms: int
    low: float
    high: float
    mean: float


class UnitSupply(NamedTuple):
    """Hours with the supply measured, and the minutes of those that were not all within the limits."""

    hours: int
    minutes: tuple[Minute, ...]
    left_out: int = 0


class Stretches(msgspec.Struct, frozen=True):
    """Stretches of minutes: how many, all their minutes, the longest, and the most extreme value in V."""

    times: int = 0
    minutes: int = 0
    longest_min: int = 0
    extreme: float | None = None


class WorstHour(msgspec.Struct, frozen=True):
    """An hour of a ward with minutes outside the limits: how many, and the least and greatest value."""

    at_ms: int
    minutes: int
    low: float
    high: float


class WardPower(msgspec.Struct, frozen=True, kw_only=True):
    """A ward's supply over a span; hours are unit-hours measured, left_out those not looked at by the minute."""

    ward: str
    hours: int
    sags: Stretches
    swells: Stretches
    without_min: int
    losses: int
    lost_min: float
    longest_loss_min: float
    ten_min_share: float | None
    worst: tuple[WorstHour, ...]
    worst_clock_hour: int | None
    left_out: int


def limits_of(nominal_volts: float) -> tuple[float, float]:
    """The volts between which a supply is good."""
    edge = nominal_volts * LIMITS.poor_volts_share
    return nominal_volts - edge, nominal_volts + edge


def ward_power(
    ward: str, units: Mapping[str, UnitSupply], nominal: Mapping[str, float], lost: Sequence[Span],
    clock_hour: Callable[[int], int],
) -> WardPower:  # fmt: skip
    """A ward's figures; `lost` are its losses within the span."""
    low: dict[int, float] = {}
    high: dict[int, float] = {}
    without: set[int] = set()
    for unit, supply in units.items():
        _sort(supply.minutes, nominal[unit], low, high, without)
    bad = sorted({*low, *high, *without})
    hours = Counter(clock_hour(at_ms) for at_ms in bad)
    lasted = [(end - start) / MINUTE for start, end in lost]
    return WardPower(
        ward=ward, hours=sum(supply.hours for supply in units.values()), sags=_stretches(low, min),
        swells=_stretches(high, max), without_min=len(without), losses=len(lost), lost_min=sum(lasted),
        longest_loss_min=max(lasted, default=0.0), ten_min_share=_ten_min_share(units, nominal),
        worst=_worst(bad, [one for supply in units.values() for one in supply.minutes]),
        worst_clock_hour=hours.most_common(1)[0][0] if hours else None,
        left_out=sum(supply.left_out for supply in units.values()),
    )  # fmt: skip


def _sort(
    minutes: Iterable[Minute], nominal: float, low: dict[int, float], high: dict[int, float], without: set[int]
) -> None:  # fmt: skip
    least, most = limits_of(nominal)
    for one in minutes:
        if one.low < nominal * LIMITS.lost_volts_share:
            without.add(one.at_ms)
        elif one.low < least:
            low[one.at_ms] = min(one.low, low.get(one.at_ms, one.low))
        if one.high > most:
            high[one.at_ms] = max(one.high, high.get(one.at_ms, one.high))


def _stretches(found: Mapping[int, float], extreme: Callable[[Iterable[float]], float]) -> Stretches:
    if not found:
        return Stretches()
    lengths: list[int] = []
    last: int | None = None
    for at_ms in sorted(found):
        if last is not None and at_ms - last == MINUTE:
            lengths[-1] += 1
        else:
            lengths.append(1)
        last = at_ms
    return Stretches(len(lengths), len(found), max(lengths), extreme(found.values()))


def _ten_min_share(units: Mapping[str, UnitSupply], nominal: Mapping[str, float]) -> float | None:
    """Of all means over ten minutes; hours that were all within the limits count with six good ones."""
    good = every = 0
    for unit, supply in units.items():
        least, most = limits_of(nominal[unit])
        periods: dict[int, list[float]] = {}
        for one in supply.minutes:
            periods.setdefault(one.at_ms // TEN_MIN, []).append(one.mean)
        within = sum(least <= sum(means) / len(means) <= most for means in periods.values())
        looked_at = len({one.at_ms // HOUR for one in supply.minutes})
        whole = 6 * (supply.hours - looked_at - supply.left_out)
        good, every = good + within + whole, every + len(periods) + whole
    return good / every if every else None


def _worst(bad: Iterable[int], minutes: Iterable[Minute]) -> tuple[WorstHour, ...]:
    counted = Counter(at_ms // HOUR * HOUR for at_ms in bad)
    ends: dict[int, tuple[float, float]] = {}
    for one in minutes:
        hour = one.at_ms // HOUR * HOUR
        low, high = ends.get(hour, (one.low, one.high))
        ends[hour] = min(low, one.low), max(high, one.high)
    found = sorted(counted.items(), key=lambda one: (-one[1], -one[0]))
    return tuple(WorstHour(at_ms, count, *ends[at_ms]) for at_ms, count in found[:WORST])


def losses_of(rows: Iterable[JournalRow], window: Span) -> dict[str, list[Span]]:
    """Losses of supply by ward, cut to the window; rows in the order of `seq`; one that lasts ends with the window."""
    begun: dict[tuple[str, str, str], tuple[str, int]] = {}
    found: dict[str, list[Span]] = {}

    def keep(ward: str, start: int, end: int) -> None:
        if end > window[0] and start < window[1]:
            found.setdefault(ward, []).append((max(start, window[0]), min(end, window[1])))

    for row in rows:
        if row.kind != entries.CONDITION or row.condition not in LOSSES:
            continue
        key, event = alarm_key(row.unit, row.ward, row.condition), row.body.get("event")
        if event == RAISED:
            begun.setdefault(key, (row.ward, row.at_ms))
        elif event == CLEARED and key in begun:
            keep(*begun.pop(key), row.at_ms)
    for ward, start in begun.values():
        keep(ward, start, window[1])
    return found
