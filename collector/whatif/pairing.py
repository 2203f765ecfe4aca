"""Which alarm of a changed run is which of today's: one alarm of one unit or ward, followed as time goes on.

Two raisings are the same alarm when they lie within a window of each other, the nearest pair first; what is left over
is the same alarm when both stood at the same time (a slow fall that a changed limit tells days earlier), again the
nearest first. Each is paired once. Nothing is settled before it is two windows old, since a nearer partner may still
come, and before it has ended, since it may still become more urgent; so what is kept is what was raised in that time,
and one alarm a side that stands on, with its partner.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from typing import Final

import msgspec

from collector.rules.events import Priority

TODAY, CHANGED = 0, 1
_FOREVER_MS: Final = 2**62
_NEIGHBOURS: Final = 3  # how many on each side of a raising are looked at; keeps a chattering alarm cheap


class Standing(msgspec.Struct, eq=False):
    """One alarm from its raising on: `high_ms` is when it came to high priority, `priority` the highest it had.

    `beside` says whether the other run's stood already when this one was raised.
    """

    raised_ms: int
    priority: Priority
    beside: bool = False
    high_ms: int | None = None
    cleared_ms: int | None = None

    @property
    def end_ms(self) -> int:
        """When it ended; beyond any moment while it stands."""
        return _FOREVER_MS if self.cleared_ms is None else self.cleared_ms


Settled = tuple[Standing | None, Standing | None]


class Pairing:
    """The raisings of one alarm in two runs that are not settled yet; `due_ms` says when to settle next."""

    def __init__(self, window_ms: int) -> None:
        self.due_ms: int | None = None
        self._window_ms = window_ms
        self._waiting: tuple[list[Standing], list[Standing]] = ([], [])

    @property
    def idle(self) -> bool:
        """Whether nothing is left to settle."""
        return not any(self._waiting)

    def raised(self, side: int, alarm: Standing) -> None:
        """A raising, not older than those of its run before it."""
        self._waiting[side].append(alarm)
        self._be_due(alarm.raised_ms + 2 * self._window_ms)

    def cleared(self, alarm: Standing, time_ms: int) -> None:
        """The end of an alarm, whether or not it is settled already."""
        alarm.cleared_ms = time_ms
        self._be_due(max(alarm.raised_ms + 2 * self._window_ms, time_ms))

    def _be_due(self, time_ms: int) -> None:
        self.due_ms = time_ms if self.due_ms is None else min(self.due_ms, time_ms)

    def settle(self, now_ms: int) -> list[Settled]:
        """What can be said by now, in the order of the raisings; it is forgotten."""
        ripe_ms = now_ms - 2 * self._window_ms
        partner = {id(mine): other for pair in self._pairs() for mine, other in (pair, pair[::-1])}
        found: list[Settled] = []
        for side, waiting in enumerate(self._waiting):
            for alarm in waiting:
                other = partner.get(id(alarm))
                if not all(a.raised_ms <= ripe_ms and a.cleared_ms is not None for a in (alarm, other) if a):
                    continue
                if side == TODAY:
                    found.append((alarm, other))
                elif other is None:
                    found.append((None, alarm))
        self._forget(found, ripe_ms, now_ms)
        return sorted(found, key=lambda pair: min(alarm.raised_ms for alarm in pair if alarm))

    def finish(self) -> list[Settled]:
        """Settle everything: no reading comes any more, and what still stood has been given an end."""
        return self.settle(_FOREVER_MS)

    def _forget(self, settled: list[Settled], ripe_ms: int, now_ms: int) -> None:
        gone = {id(alarm) for pair in settled for alarm in pair}
        for waiting in self._waiting:
            waiting[:] = [alarm for alarm in waiting if id(alarm) not in gone]
        unripe = [a.raised_ms + 2 * self._window_ms for side in self._waiting for a in side if a.raised_ms > ripe_ms]
        # Not sooner than a quarter window from now: a chattering alarm is settled by the lot.
        self.due_ms = max(min(unripe), now_ms + self._window_ms // 4) if unripe else None

    def _pairs(self) -> list[tuple[Standing, Standing]]:
        taken: set[int] = set()
        found = []
        for _far, _apart_ms, _raised_ms, mine, other in sorted(self._candidates(), key=lambda c: c[:3]):
            if id(mine) not in taken and id(other) not in taken:
                taken |= {id(mine), id(other)}
                found.append((mine, other))
        return found

    def _candidates(self) -> Iterator[tuple[bool, int, int, Standing, Standing]]:
        today, changed = self._waiting
        couples = [(mine, other) for mine in today for other in _neighbours(mine, changed)]
        couples += [(mine, other) for other in changed for mine in _neighbours(other, today)]
        for mine, other in couples:
            apart_ms = abs(mine.raised_ms - other.raised_ms)
            far = apart_ms > self._window_ms
            if not far or (mine.raised_ms < other.end_ms and other.raised_ms < mine.end_ms):
                yield far, apart_ms, mine.raised_ms, mine, other


def _neighbours(alarm: Standing, others: list[Standing]) -> list[Standing]:
    place = bisect_left(others, alarm.raised_ms, key=lambda other: other.raised_ms)
    return others[max(0, place - _NEIGHBOURS) : place + _NEIGHBOURS]
