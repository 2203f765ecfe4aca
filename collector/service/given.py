"""What units gave and used, from rollups: hours of adequate purity, energy, flow; and when they were seen at all.

Rules of this file: a rollup of an hour is judged whole where its lowest and highest values agree; else its minutes are
asked for (`needs_minutes`). A minute that is not wholly adequate counts as not adequate: the safe side; one without a
purity reading is not measured. An hour without readings is nothing at all, neither good nor bad. An hour that has fewer
readings than a full one counts as far as its minutes show readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import msgspec

from collector.rules.limits import HOUR, LIMITS, MINUTE
from collector.service.spans import Span, merged, within
from collector.service.spans import hours as hours_of
from collector.site import Model

#: An hour with under this share of the usual number of readings is looked at by the minute.
THIN: Final = 0.9


class Bucket(NamedTuple):
    """Readings of one unit in an hour or a minute that begins at at_ms; None where a quantity was not measured.

    n is the number of readings; purity_pct, flow_lpm and power_w are given as lowest, highest and mean. purity_n is how
    many of the readings had a purity; None stands for all.
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
    purity_n: int | None = None

    @property
    def measured(self) -> int:
        """Readings that had a purity."""
        if self.purity_low_pct is None:
            return 0
        return self.n if self.purity_n is None else self.purity_n


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
_PARTLY: Final = "partly"  # as far as purity was measured in this hour, it was all one


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
    full, measured = THIN * _usual(hours), _usually_measured(hours)
    return [hour.at_ms for hour in hours if hour.n < full or _judge_hour(hour, measured, model) in (MIXED, _PARTLY)]


def given(hours: Sequence[Bucket], minutes: Mapping[int, Sequence[Bucket]], model: Model) -> Given:
    """Add up a unit's hours; minutes are those of hours that need them. Where they are gone, a mixed hour is poor."""
    usual, measured = _usual(hours), _usually_measured(hours)
    totals = dict.fromkeys((ADEQUATE, INADEQUATE, UNMEASURED, IDLE), 0.0)
    kwh, power_h = 0.0, 0.0
    flow: list[tuple[int, float]] = []
    seen: list[Span] = []
    for hour in hours:
        fine, verdict = minutes.get(hour.at_ms, ()), _judge_hour(hour, measured, model)
        shown = _seen(hour, fine, usual)
        share = hours_of(shown)
        for part, part_h in _parts(verdict, fine, share, model):
            totals[part] += part_h
        seen += shown
        if hour.power_mean_w is not None:
            kwh, power_h = kwh + hour.power_mean_w * share / 1000, power_h + share
        if hour.flow_mean_lpm is not None and verdict != IDLE:
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
    """Readings of a full hour: all but a tenth of the hours have no more."""
    return _high(hour.n for hour in hours)


def _usually_measured(hours: Sequence[Bucket]) -> float:
    """The share of readings that have a purity in an hour in which it was measured throughout."""
    return _high(hour.measured / hour.n for hour in hours if hour.measured)


def _high(values: Iterable[float]) -> float:
    found = sorted(values)
    return found[len(found) * 9 // 10] if found else 0.0


def _judge_hour(hour: Bucket, usually_measured: float, model: Model) -> str:
    """As `judge`; an hour in which purity was measured less often than usual says nothing of the rest of it."""
    verdict = judge(hour, model)
    sparse = hour.measured < THIN * usually_measured * hour.n
    return _PARTLY if verdict in (ADEQUATE, INADEQUATE) and sparse else verdict


def _parts(whole: str, fine: Sequence[Bucket], share: float, model: Model) -> Iterable[tuple[str, float]]:
    if whole not in (MIXED, _PARTLY):
        return [(whole, share)]
    if not fine:
        return [(INADEQUATE if whole == MIXED else UNMEASURED, share)]
    verdicts = [judge(minute, model) for minute in fine]
    return [(INADEQUATE if verdict == MIXED else verdict, share / len(fine)) for verdict in verdicts]


def _seen(hour: Bucket, fine: Sequence[Bucket], usual: float) -> list[Span]:
    """When readings came: the whole hour, or its minutes; a pause of two readings' distance is none."""
    if hour.n >= THIN * usual:
        return [(hour.at_ms, hour.at_ms + HOUR)]
    if not fine:
        return [(hour.at_ms, hour.at_ms + round(hour.n / usual * HOUR))]
    steps = sorted(after.at_ms - before.at_ms for before, after in pairwise(fine))
    step_ms = steps[len(steps) // 2] if steps else MINUTE
    spans = [(minute.at_ms, minute.at_ms + step_ms) for minute in fine]
    return within(merged(spans, max(LIMITS.absent_ms, step_ms)), (hour.at_ms, hour.at_ms + HOUR))
