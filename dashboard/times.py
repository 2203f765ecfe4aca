"""Moments as people at the facility read them, and ages."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

SECOND = 1_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def local(ms: int, zone: ZoneInfo) -> datetime:
    """A moment in the facility's time zone."""
    return datetime.fromtimestamp(ms / 1000, zone)


def day_end_ms(day: date, zone: ZoneInfo) -> int:
    """When a day ends there, whatever its length."""
    return round(datetime.combine(day + timedelta(days=1), time(), zone).timestamp() * 1000)


def clock_text(ms: int, zone: ZoneInfo) -> str:
    """HH:MM there."""
    return f"{local(ms, zone):%H:%M}"


def moment_text(ms: int | None, now_ms: int, zone: ZoneInfo) -> str:
    """HH:MM on the day of now_ms, else with the day, and with the year when that differs; a dash for None."""
    if ms is None:
        return "–"
    then, now = local(ms, zone), local(now_ms, zone)
    if then.date() == now.date():
        return f"{then:%H:%M}"
    year = "" if then.year == now.year else f" {then.year}"
    return f"{then.day} {then:%b}{year} {then:%H:%M}"


def age_text(ms: int) -> str:
    """How long, in one unit: 8 s, 12 min, 5 h, 3 days; what lies ahead counts as nothing."""
    for below, unit_ms, name in ((MINUTE, SECOND, "s"), (HOUR, MINUTE, "min"), (2 * DAY, HOUR, "h")):
        if ms < below:
            return f"{max(ms, 0) // unit_ms} {name}"
    return f"{ms // DAY} days"


def lasted_text(ms: int) -> str:
    """A duration in at most two units, such as 1 h 05 min."""
    if ms < HOUR:
        return age_text(ms)
    hours, minutes = divmod(ms // MINUTE, 60)
    return f"{hours} h {minutes:02} min" if hours < 48 else f"{hours // 24} d {hours % 24} h"
