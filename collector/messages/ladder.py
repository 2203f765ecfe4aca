"""Whose turn it is: which ways a happening goes, on which step each stands, and after how long; pure."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from collector.messages.happenings import TEST, Happening
from collector.messages.ways import LADDER, Way, Ways
from collector.site import Site


class Stand(NamedTuple):
    """A way's step for a happening, from 0, and how many minutes after it began to wait for an answer."""

    step: int
    delay_min: float


class Ladder:
    """The ways of a site; what was found once of happenings of one kind is kept."""

    def __init__(self, site: Site, ways: Ways) -> None:
        self.ways, self._escalation = ways.ways, ways.escalation
        self._zone = ZoneInfo(site.facility.timezone)
        self._all_wards = {ward.id for ward in site.places()}
        self._known: dict[tuple[object, ...], Stand | None] = {}

    def stand(self, way: Way, one: Happening) -> Stand | None:
        """Where this way stands for a happening; None when it is not told at all.

        Steps that nobody has a way for are left out, so that the next one is told in their place.
        """
        key = way.id, one.kind, one.priority, one.audience, self._wards(one)
        if key not in self._known:
            self._known[key] = self._stand(way, one)
        return self._known[key]

    def before(self, one: Happening, step: int) -> Iterator[Way]:
        """The ways of the steps before this one."""
        for way in self.ways:
            stand = self.stand(way, one)
            if stand is not None and way.role in LADDER and stand.step < step:
                yield way

    def minute_of_day(self, now_ms: int) -> int:
        """Minutes since midnight on a clock of the facility."""
        local = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(self._zone)
        return local.hour * 60 + local.minute

    def _stand(self, way: Way, one: Happening) -> Stand | None:
        if not self._fits(way, one):
            return None
        if one.kind == TEST or way.role == "planner":
            return Stand(0, 0.0)
        there = {other.role for other in self.ways if self._fits(other, one)}
        step = [role for role in _steps(one) if role in there].index(way.role)
        if way.after_min is not None:
            return Stand(step, way.after_min)
        delays = self._escalation.delays_min(one.priority)
        return Stand(step, delays[step]) if step < len(delays) else Stand(0, 0.0)

    def _fits(self, way: Way, one: Happening) -> bool:
        """Whether a happening is this way's at all: its ward, its priority, and its role."""
        wards = self._wards(one)
        if way.wards and wards and not wards & set(way.wards):
            return False
        if one.kind == TEST:
            return True
        if one.priority not in way.told:
            return False
        if way.role == "planner" or one.priority == "low":
            return way.role in one.audience
        return way.role in _steps(one)

    def _wards(self, one: Happening) -> frozenset[str]:
        """The wards it is about; none for what concerns them all."""
        if one.kind == TEST:
            return frozenset(() if self._all_wards <= set(one.units) else one.units)
        return frozenset((one.ward,) if one.ward else ())


def _steps(one: Happening) -> tuple[str, ...]:
    """The steps of the ladder from the first one that the condition is for; nobody's condition has none."""
    first = min((LADDER.index(role) for role in one.audience if role in LADDER), default=len(LADDER))
    return LADDER[first:]
