"""A calendar month of a facility, in its own time zone."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

_MONTH = re.compile(r"(20\d\d)-(0[1-9]|1[0-2])")


class Month(NamedTuple):
    """A month from its first moment to `to_ms`, the first moment of the next; `until_ms` is earlier while it lasts."""

    first: date
    zone: ZoneInfo
    from_ms: int
    to_ms: int
    until_ms: int

    @property
    def name(self) -> str:
        """As on the command line: 2026-10."""
        return f"{self.first:%Y-%m}"

    @property
    def title(self) -> str:
        """As people say it: October 2026."""
        return f"{self.first:%B %Y}"

    @property
    def is_over(self) -> bool:
        """Whether all of it has passed."""
        return self.until_ms == self.to_ms

    def days(self) -> list[date]:
        """Its days as far as it has come, the one that is running among them."""
        last = self.day_of(max(self.from_ms, self.until_ms - 1))
        return [self.first + timedelta(days=n) for n in range((last - self.first).days + 1)]

    def day_of(self, at_ms: int) -> date:
        """The facility's day at a moment."""
        return datetime.fromtimestamp(at_ms / 1000, self.zone).date()


def month_of(text: str, timezone: str, now_ms: int) -> Month:
    """The month written as 2026-10; ValueError when it is none or has not begun at now_ms."""
    if (found := _MONTH.fullmatch(text)) is None:
        raise ValueError(f"'{text}' is no month; write it as 2026-10")
    zone, first = ZoneInfo(timezone), date(int(found[1]), int(found[2]), 1)
    following = (first + timedelta(days=32)).replace(day=1)
    from_ms, to_ms = (_midnight_ms(day, zone) for day in (first, following))
    if from_ms >= now_ms:
        raise ValueError(f"{text} has not begun; the last month that can be reported on is the running one")
    return Month(first, zone, from_ms, to_ms, min(to_ms, now_ms))


def _midnight_ms(day: date, zone: ZoneInfo) -> int:
    return round(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)
