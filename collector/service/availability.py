"""Availability, weighted by time, with what it is a share of.

Rules of this file: every hour of a unit in the fleet is one of three. Down: out of service, in work for a fault, or
failing (the unit's own fault). Unknown: no readings, and not known to be down. Up: the rest, whether it ran or stood
ready. Availability is up / (up + down); since nobody knows of the unknown hours, the figure comes with what it would be
if they had all been down, and all up. Hours in store, before the unit came and after it was retired are not counted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import msgspec

from collector.service.episodes import OUT, STORE, Episode
from collector.service.spans import Span, hours, merged, minus, within
from collector.site import Unit


class Availability(msgspec.Struct, frozen=True, kw_only=True):
    """Hours of one unit or many: fleet_h = up_h + down_h + unknown_h, and store_h beside it."""

    units: int = 0
    up_h: float = 0.0
    down_h: float = 0.0
    unknown_h: float = 0.0
    store_h: float = 0.0

    @property
    def fleet_h(self) -> float:
        """Hours in the fleet: what the shares are taken of."""
        return self.up_h + self.down_h + self.unknown_h

    @property
    def share(self) -> float | None:
        """Availability of the hours that are known; None where none are."""
        return _share(self.up_h, self.up_h + self.down_h)

    @property
    def least(self) -> float | None:
        """Availability if every unknown hour was down."""
        return _share(self.up_h, self.fleet_h)

    @property
    def most(self) -> float | None:
        """Availability if every unknown hour was up."""
        return _share(self.up_h + self.unknown_h, self.fleet_h)


def availability_of(
    unit: Unit, items: Sequence[Episode], seen: Sequence[Span], window: Span, zone: ZoneInfo
) -> Availability:
    """One unit's hours of a window, from its episodes and the spans in which it was seen."""
    if unit.in_service is False:
        return Availability(store_h=hours([window]))
    here = within([(_since_ms(unit.in_service, zone), window[1])], window)
    stored = [span for start, end in here for span in within(_spans(items, STORE, window), (start, end))]
    fleet = minus(here, stored)
    down = minus(fleet, minus(fleet, _down(items, window)))
    rest = minus(fleet, down)
    unknown = minus(rest, seen)
    return Availability(
        units=1 if fleet else 0, up_h=hours(minus(rest, unknown)), down_h=hours(down), unknown_h=hours(unknown),
        store_h=hours(stored),
    )  # fmt: skip


def together(parts: Iterable[Availability]) -> Availability:
    """Hours of several units added up."""
    found = list(parts)
    return Availability(
        units=sum(part.units for part in found), up_h=sum(part.up_h for part in found),
        down_h=sum(part.down_h for part in found), unknown_h=sum(part.unknown_h for part in found),
        store_h=sum(part.store_h for part in found),
    )  # fmt: skip


def _down(items: Sequence[Episode], window: Span) -> list[Span]:
    return merged(
        (item.from_ms, item.to_ms if item.to_ms is not None else window[1])
        for item in items
        if item.what == OUT or item.failing
    )


def _spans(items: Sequence[Episode], what: str, window: Span) -> list[Span]:
    return [(item.from_ms, item.to_ms if item.to_ms is not None else window[1]) for item in items if item.what == what]


def _since_ms(in_service: bool | date, zone: ZoneInfo) -> int:
    if isinstance(in_service, bool):
        return 0
    return round(datetime.combine(in_service, time(), zone).timestamp() * 1000)


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole > 0 else None
