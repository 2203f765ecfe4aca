"""Which safe copies stay; pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime

import msgspec


class Rotation(msgspec.Struct, frozen=True, kw_only=True):
    """Of how many of the latest days, weeks and months that have copies the newest one stays.

    Common practice, no source: seven days, five weeks and a year of months.
    """

    daily: int = 7
    weekly: int = 5
    monthly: int = 12

    def to_drop(self, made_ms: Mapping[str, int], newest: str) -> list[str]:
        """Names that may go, oldest first; `newest`, the copy made just now, stays whatever the clock said.

        made_ms are the copies' times in ms since 1970; days, weeks and months are UTC's.
        """
        by_age = sorted(made_ms, key=lambda name: made_ms[name], reverse=True)
        stays = {newest, *by_age[:1]}
        for count, period in ((self.daily, _day), (self.weekly, _week), (self.monthly, _month)):
            stays |= _newest_of_each(by_age, made_ms, period, count)
        return [name for name in reversed(by_age) if name not in stays]


def _newest_of_each(
    by_age: list[str], made_ms: Mapping[str, int], period: Callable[[datetime], str], count: int
) -> set[str]:
    found: dict[str, str] = {}
    for name in by_age:
        found.setdefault(period(datetime.fromtimestamp(made_ms[name] / 1000, UTC)), name)
    return set(list(found.values())[:count])


def _day(when: datetime) -> str:
    return f"{when:%Y-%m-%d}"


def _week(when: datetime) -> str:
    return f"{when:%G-%V}"


def _month(when: datetime) -> str:
    return f"{when:%Y-%m}"
