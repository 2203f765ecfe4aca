"""Sensors and bridges as rows; pure. What is in doubt is as the collector's alarms say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from collector.terms import title_of
from dashboard import sensor_words as words
from dashboard.board import shared_with
from dashboard.fleetrows import percent
from dashboard.freshness import is_stale
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import age_text

#: Conditions that put what a unit's sensors say in doubt.
DOUBTS: Final = ("sensor-suspect", "clock-wrong")
#: Not heard for less than this share of a day is a moment's loss (common practice, no source).
GAP_SHARE: Final = 0.01


class Sensor(NamedTuple):
    """What is known of one unit's sensors."""

    unit: str
    ward: str
    age_ms: int | None
    stale: bool
    doubts: tuple[str, ...]
    unmeasured: tuple[str, ...]
    missing_min: int
    of_min: int

    @property
    def pressing(self) -> bool:
        """Whether somebody should look at it."""
        gap = self.missing_min > GAP_SHARE * self.of_min
        return self.stale or bool(self.doubts) or bool(self.unmeasured) or gap


def sensors(now: Now, now_ms: int, lives: bool, of_min: int, heard: Mapping[str, int]) -> list[Sensor]:
    """The sensors of every unit that is in service, what is silent and in doubt first."""
    if now.site is None:
        return []
    found = [
        _sensor(now, unit.id, now_ms, lives, of_min, heard)
        for unit in now.site.units
        if unit.id not in now.out_of_service
    ]
    return sorted(found, key=lambda one: (not one.stale, not one.doubts, -one.missing_min, one.unit))


def _sensor(now: Now, unit: str, now_ms: int, lives: bool, of_min: int, heard: Mapping[str, int]) -> Sensor:
    assert now.site is not None  # noqa: S101 - for the type checker: the caller has looked
    row, ward = now.units.get(unit), now.site.ward_of(unit).id
    own = [alarm for alarm in now.alarms if alarm.unit == unit and alarm.active]
    ours = [*own, *shared_with(unit, [alarm for alarm in now.alarms if alarm.ward == ward], now)]
    doubts = tuple(dict.fromkeys(title_of(alarm.condition) for alarm in ours if alarm.condition in DOUBTS))
    age_ms = None if row is None or row.last_ms is None else now_ms - row.last_ms
    known = row is not None and row.last_ms is not None
    unmeasured = tuple(title for name, title in words.NAMES.items() if known and getattr(row, name) is None)
    missing = max(0, of_min - heard.get(unit, 0)) if heard else 0
    return Sensor(unit, ward, age_ms, is_stale(row, now, now_ms, lives), doubts, unmeasured, missing, of_min)


def sensor_rows(found: list[Sensor], now: Now) -> list[Row]:
    """One row a unit."""
    return [
        (Cell(one.unit, one.unit), ward_title(now, one.ward),
         Cell(words.NEVER if one.age_ms is None else words.ago(age_text(one.age_ms)), mark="late" * one.stale),
         Cell(", ".join(one.doubts), mark="late" if one.doubts else ""), ", ".join(one.unmeasured),
         words.missing(one.missing_min, percent(one.missing_min / one.of_min)) if one.missing_min else "")
        for one in found
    ]  # fmt: skip
