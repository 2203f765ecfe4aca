"""When a task that goes by run hours is due on one unit, from the hours on record and those to come."""

from __future__ import annotations

from typing import Final, NamedTuple

from collector.rules.limits import DAY, HOUR
from collector.rules.unitrow import OFF, UNSEEN, UnitRow
from collector.service.record import Done, UnitRecord
from collector.service.running import IDLE, Point, RunClock, Usage, days_until, hours_before, unheard_h, usage_of
from collector.site import Unit

_NEVER: Final = float("inf")


class _Start(NamedTuple):
    """When counting begins, and the hours on the unit's clock then, for shares of 1, of its use and of 0."""

    at_ms: float
    hours: tuple[float, float, float]


class Hours:
    """One unit's run hours, past and to come."""

    def __init__(
        self, points: list[Point], usage: Usage, ahead: Usage, new: _Start, unheard: float, now_ms: int
    ) -> None:
        self._clock, self._usage, self._ahead, self._new = RunClock(points), usage, ahead, new
        self._unheard_h, self._now_ms = unheard, now_ms
        self._shares = (1.0, usage.share, 0.0)

    def since(self, done: Done | None) -> float:
        """Hours run since a task was last done, or since the unit was new."""
        start = self._start(done)
        return max(0.0, self._clock.at(self._now_ms, self._shares[1]) - start.hours[1])

    def due(self, every_h: float, done: Done | None) -> tuple[float, float, float]:
        """When so many hours are run since then: 5 %, 50 % and 95 % points in ms, infinite for never."""
        start = self._start(done)
        found = [self._passed(every_h, start, i) for i in range(3)]
        p50 = found[1]
        return min(found[0], p50), p50, max(found[2], p50)

    def _passed(self, every_h: float, start: _Start, quantile: int) -> float:
        share, begun_h = self._shares[quantile], start.hours[quantile]
        first, end_h = self._clock.points[0], self._clock.at(self._now_ms, share)
        before_h = first.total_h(share) - begun_h
        if before_h >= every_h:
            return start.at_ms + (first.at_ms - start.at_ms) * every_h / before_h
        at_ms = self._clock.when(begun_h + every_h, share)
        if at_ms is not None and begun_h + every_h <= end_h:
            return max(at_ms, start.at_ms)
        left_h = begun_h + every_h - end_h - (self._unheard_h if quantile == 0 else 0.0)
        days = days_until(max(0.0, left_h), self._ahead)[quantile]
        return _NEVER if days is None else self._now_ms + days * DAY

    def _start(self, done: Done | None) -> _Start:
        if done is None:
            return self._new
        first = self._clock.points[0]
        if done.at_ms >= first.at_ms:
            at = self._clock.at
            return _Start(done.at_ms, (at(done.at_ms, 1.0), at(done.at_ms, self._shares[1]), at(done.at_ms, 0.0)))
        return _before(first, done.at_ms, done.meter_h, self._usage)


def hours_of(unit: Unit, known: UnitRecord, row: UnitRow | None, since_ms: int, now_ms: int) -> Hours:
    """The hours of a unit from its record and, where there is one, its present row; since_ms is when it was new."""
    points = list(known.points)
    last_ms = points[-1].at_ms if points else None
    if row is not None and row.last_ms is not None and row.last_ms > (last_ms or 0):
        points.append(_present(row, known, points))
        last_ms = row.last_ms
    if not points:
        points = [Point(min(since_ms, now_ms), 0.0, 0.0, unit.hour_meter_h)]
    usage, stands = usage_of(points), unit.in_service is False
    off = stands or (row is not None and row.phase in (OFF, UNSEEN))
    meter_h = next((point.meter_h for point in points if point.meter_h is not None), unit.hour_meter_h)
    new = _new(points, since_ms, meter_h, usage)
    return Hours(points, usage, IDLE if stands else usage, new, 0.0 if off else unheard_h(last_ms, now_ms), now_ms)


def _present(row: UnitRow, known: UnitRecord, points: list[Point]) -> Point:
    lost_known_h, lost_unknown_h = known.lost_h
    known_h, unknown_h = row.observed_h + row.inferred_h + lost_known_h, row.unknown_h + lost_unknown_h
    if points:
        known_h, unknown_h = max(known_h, points[-1].known_h), max(unknown_h, points[-1].unknown_h)
    return Point(row.last_ms or 0, known_h, unknown_h, row.hours_h)


def _new(points: list[Point], since_ms: int, meter_h: float | None, usage: Usage) -> _Start:
    """When the unit was new: as its meter tells, else as its date does, else when it was first followed."""
    first = points[0]
    if meter_h is not None:
        seen = next((point for point in points if point.meter_h is not None), first)
        hours = tuple(seen.total_h(share) - meter_h for share in (1.0, usage.share, 0.0))
        at_ms = since_ms if since_ms < first.at_ms else first.at_ms - meter_h * HOUR
        return _Start(at_ms, (min(hours[0], 0.0), min(hours[1], 0.0), min(hours[2], 0.0)))
    if since_ms < first.at_ms:
        return _before(first, since_ms, None, usage)
    return _Start(first.at_ms, (first.total_h(1.0), first.total_h(usage.share), first.total_h(0.0)))


def _before(first: Point, at_ms: int, meter_h: float | None, usage: Usage) -> _Start:
    """A moment before the unit was followed: as the meter tells, else as it may have run meanwhile."""
    shares = (1.0, usage.share, 0.0)
    days = max(0.0, (first.at_ms - at_ms) / DAY)
    if meter_h is not None and first.meter_h is not None and 0 <= first.meter_h - meter_h <= days * 24.5:
        ran = (first.meter_h - meter_h,) * 3
    else:
        ran = hours_before(usage, days)[::-1]
    begun = [first.total_h(share) - hours for share, hours in zip(shares, ran, strict=True)]
    return _Start(at_ms, (begun[0], begun[1], begun[2]))
