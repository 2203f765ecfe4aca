"""Power quality as rows; pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from collector.service.power_quality import Stretches, WardPower
from dashboard import power_words as words
from dashboard.fleetrows import percent
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import moment_text
from dashboard.words import NOT_MEASURED

#: EN 50160's share of ten-minute means within 10 % of nominal, a week (from memory).
WANTED: Final = 0.95


def ward_rows(found: Sequence[WardPower], now: Now) -> list[Row]:
    """One row a ward, the worst supply first."""
    worst = sorted(found, key=lambda one: (-one.lost_min, -one.sags.minutes - one.swells.minutes, one.ward))
    return [
        (Cell(ward_title(now, one.ward)), _losses(one), words.minutes_of(one.without_min) if one.without_min else "",
         _stretch(one.sags), _stretch(one.swells), _share(one.ten_min_share), _clock(one.worst_clock_hour),
         f"{one.hours:,}")
        for one in worst
    ]  # fmt: skip


def worst_rows(found: Sequence[WardPower], now: Now, now_ms: int) -> list[Row]:
    """The worst hours of all wards."""
    hours = sorted(((one.ward, hour) for one in found for hour in one.worst), key=lambda one: -one[1].minutes)
    return [
        (Cell(ward_title(now, ward)), moment_text(hour.at_ms, now_ms, now.zone), str(hour.minutes), f"{hour.low:.0f}",
         f"{hour.high:.0f}")
        for ward, hour in hours[:20]
    ]  # fmt: skip


def _losses(one: WardPower) -> Cell:
    note = words.loss(one.losses, f"{one.lost_min:.0f}", f"{one.longest_loss_min:.0f}")
    return Cell(str(one.losses), mark="late" * bool(one.losses), note=note)


def _stretch(one: Stretches) -> Cell:
    if one.extreme is None:
        return Cell("0")
    return Cell(str(one.times), note=words.stretch(one.minutes, one.longest_min, f"{one.extreme:.0f}"))


def _share(share: float | None) -> Cell:
    return Cell(NOT_MEASURED) if share is None else Cell(percent(share), mark="late" if share < WANTED else "")


def _clock(hour: int | None) -> str:
    return "" if hour is None else words.clock_hours(hour, (hour + 1) % 24)
