"""What units gave and used, from rollups: hours of adequate purity, energy, flow; and when they were seen at all.

Rules of this file: a rollup of an hour is judged whole where its lowest and highest values agree; else its minutes are
asked for (`needs_minutes`). A minute that is not wholly adequate counts as not adequate: the safe side. An hour without
readings is nothing at all, neither good nor bad. Of an hour that has fewer readings than usual only that share counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from statistics import median
from typing import Final, NamedTuple

import msgspec

from collector.rules.limits import HOUR, LIMITS, MINUTE
from collector.service.spans import Span, merged
from collector.site import Model

#: An hour with under this share of the usual number of readings is looked at by the minute.
THIN: Final = 0.9


class Bucket(NamedTuple):
    """Readings of one unit in an hour or a minute that begins at at_ms; None where a quantity was not measured.

    n is the number of readings; purity_pct, flow_lpm and power_w are given as lowest, highest and mean.
    """

    at_ms: int
    n: int
    purity_low_pct: float | None = None
    purity_high_pct: float | None = None
    flow_high_lpm: float | None = None
    flow_mean_lpm: float | None = None
    power_low_w: float | None = None
    power_high_w: float | None = None
    power_mean_w: float | None = None


class Given(msgspec.Struct, frozen=True, kw_only=True):
    """One unit over a span: hours running with adequate purity, under it, without a purity reading, and idle (off).

    kwh is the energy of the hours in which power was measured (power_h of them); flow is [hour, mean L/min while it
    ran]; seen are the spans with readings.
    """

    adequate_h: float = 0.0
    inadequate_h: float = 0.0
    unmeasured_h: float = 0.0
    idle_h: float = 0.0
    kwh: float = 0.0
    power_h: float = 0.0
    flow: tuple[tuple[int, float], ...] = ()
    seen: tuple[Span, ...] = ()


ADEQUATE: Final = "adequate"
INADEQUATE: Final = "inadequate"
UNMEASURED: Final = "unmeasured"
IDLE: Final = "idle"
MIXED: Final = "mixed"


def judge(bucket: Bucket, model: Model) -> str:
    """What a bucket shows as a whole, or MIXED; adequate is at or above the model's red limit (WHO: 82 %)."""
    running = _running(bucket, model)
    if running is False:
        return IDLE
    low, high = bucket.purity_low_pct, bucket.purity_high_pct
    if low is not None and low >= model.red_pct:
        return ADEQUATE
    if running is None:
        return MIXED
    if high is None:
        return UNMEASURED
    return INADEQUATE if high < model.red_pct else MIXED


def needs_minutes(hours: Sequence[Bucket], model: Model) -> list[int]:
    """The hours whose minutes must be handed to `given`, by when they begin."""
    usual = _usual(hours)
    return [hour.at_ms for hour in hours if hour.n < THIN * usual or judge(hour, model) == MIXED]


def given(hours: Sequence[Bucket], minutes: Mapping[int, Sequence[Bucket]], model: Model) -> Given:
    """Add up a unit's hours; minutes are those of hours that need them. Where they are gone, a mixed hour is poor."""
    usual = _usual(hours)
    every_ms = HOUR / usual if usual else HOUR
    totals = dict.fromkeys((ADEQUATE, INADEQUATE, UNMEASURED, IDLE), 0.0)
    kwh, power_h = 0.0, 0.0
    flow: list[tuple[int, float]] = []
    seen: list[Span] = []
    for hour in hours:
        fine = minutes.get(hour.at_ms)
        share = min(1.0, hour.n / usual) if hour.n < THIN * usual else 1.0
        for verdict, part_h in _parts(hour, fine, share, model):
            totals[verdict] += part_h
        seen += _seen(hour, fine, share, every_ms)
        if hour.power_mean_w is not None:
            kwh, power_h = kwh + hour.power_mean_w * share / 1000, power_h + share
        if hour.flow_mean_lpm is not None and judge(hour, model) != IDLE:
            flow.append((hour.at_ms, hour.flow_mean_lpm))
    return Given(
        adequate_h=totals[ADEQUATE], inadequate_h=totals[INADEQUATE], unmeasured_h=totals[UNMEASURED],
        idle_h=totals[IDLE], kwh=kwh, power_h=power_h, flow=tuple(flow), seen=tuple(merged(seen)),
    )  # fmt: skip


def _running(bucket: Bucket, model: Model) -> bool | None:
    """Whether it ran throughout, or not at all; None for some of both. By power where measured, else by flow."""
    if bucket.power_high_w is not None and bucket.power_low_w is not None:
        off_below_w = LIMITS.off_power_share * model.power_w
        return False if bucket.power_high_w < off_below_w else True if bucket.power_low_w >= off_below_w else None
    if bucket.flow_high_lpm is not None:
        return bucket.flow_high_lpm >= LIMITS.on_flow_lpm
    return bucket.purity_high_pct is not None and bucket.purity_high_pct >= LIMITS.on_purity_pct


def _usual(hours: Sequence[Bucket]) -> float:
    return median(hour.n for hour in hours) if hours else 0.0


def _parts(hour: Bucket, fine: Sequence[Bucket] | None, share: float, model: Model) -> Iterable[tuple[str, float]]:
    whole = judge(hour, model)
    if whole != MIXED:
        return [(whole, share)]
    if not fine:
        return [(INADEQUATE, share)]
    verdicts = [judge(minute, model) for minute in fine]
    return [(INADEQUATE if verdict == MIXED else verdict, share / len(fine)) for verdict in verdicts]


def _seen(hour: Bucket, fine: Sequence[Bucket] | None, share: float, every_ms: float) -> list[Span]:
    """When readings came: the whole hour, or its minutes with pauses no longer than two readings are apart."""
    if share >= 1.0:
        return [(hour.at_ms, hour.at_ms + HOUR)]
    if not fine:
        return [(hour.at_ms, hour.at_ms + round(share * HOUR))]
    pause_ms = max(LIMITS.absent_ms, round(2 * every_ms))
    return merged([(minute.at_ms, minute.at_ms + MINUTE) for minute in fine], pause_ms)
