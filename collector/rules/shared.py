"""A condition that several units of a ward show at once is one event of the ward, not twenty.

Rules of this file: a unit's condition waits `hold_ms` for those of others and is judged at that deadline from what was
known by then, so live and replay judge alike. Which units a ward's event has taken is remembered in the units
themselves. Each time half of those that the event names are well again, it ends, or names the rest when they are still
many; what is left of one that ended is told unit by unit. A later unit joins quietly for a while, then is told anew.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from collector.rules.catalogue import action_text
from collector.rules.events import CLEARED, RAISED, UPDATED, Event, Evidence, Priority
from collector.rules.findings import clear_all
from collector.rules.limits import Together
from collector.rules.memory import Shared, Tracked

#: The first kind of deadline in the engine's heap that is one of a shared condition; they follow in order.
FIRST_KIND: Final = 2


class Whole(NamedTuple):
    """What a ward's event says of its units."""

    evidence: Evidence
    action: str
    priority: Priority
    audience: tuple[str, ...]
    cause: str = "unknown"


class Kind(NamedTuple):
    """A condition that can be shared."""

    name: str
    rule: Together
    shows: Callable[[Tracked], bool]  # told on its own, and still so
    could: Callable[[Tracked], bool]  # could show it and does not
    alone: Callable[[Tracked, Shared, int], Event | None]  # None: not told of one unit
    whole: Callable[[Sequence[Tracked], int], Whole]
    alike: Callable[[Shared, Shared], bool] = lambda _one, _other: True  # may belong to one event


class SharedConditions:
    """The shared conditions of a facility's wards; `due` is the engine's heap, `touched` the units that changed."""

    def __init__(
        self, wards: Mapping[str, Sequence[Tracked]], due: list[tuple[int, int, str]], touched: set[str]
    ) -> None:
        self._wards, self._due, self._touched = wards, due, touched
        self._kinds: list[Kind] = []
        self._places: dict[str, int] = {}
        self._waiting: dict[tuple[int, str], int] = {}  # (place of the kind, ward) -> its next deadline

    def add(self, kind: Kind) -> None:
        """Follow one more kind of condition."""
        self._places[kind.name] = len(self._kinds)
        self._kinds.append(kind)

    def restore(self) -> None:
        """Wait again for what waited when it was stored; a unit that has moved is told anew with its new ward's."""
        self._waiting.clear()
        for ward, units in self._wards.items():
            for unit in units:
                if not unit.in_service and unit.memory.shared:
                    unit.memory.shared.clear()
                    self._touched.add(unit.id)
                for name, share in unit.memory.shared.items():
                    if share.ward != ward:
                        share.ward, share.wait_ms, share.alone = ward, share.since_ms, False
                        self._touched.add(unit.id)
                    if share.wait_ms is not None:
                        self._await(self._places[name], ward, share.wait_ms)

    def _await(self, place: int, ward: str, wait_ms: int) -> None:
        due_ms = wait_ms + self._kinds[place].rule.hold_ms
        heapq.heappush(self._due, (due_ms, FIRST_KIND + place, ward))
        self._waiting[place, ward] = min(due_ms, self._waiting.get((place, ward), due_ms))

    def wait(
        self, unit: Tracked, name: str, since_ms: int, time_ms: int, cause: str = "unknown",
        value: float | None = None,
    ) -> None:  # fmt: skip
        """A unit shows it, since since_ms: judged with its ward's others `hold_ms` after time_ms."""
        unit.memory.shared[name] = Shared(since_ms, unit.ward.id, time_ms, cause=cause, value=value)
        self._await(self._places[name], unit.ward.id, time_ms)

    def settle(self, unit: Tracked, time_ms: int, found: list[Event]) -> None:
        """What was due in the unit's ward before its reading of time_ms is judged first."""
        for place in range(len(self._kinds)):
            while (due_ms := self._waiting.get((place, unit.ward.id), time_ms)) < time_ms:
                self.judge(FIRST_KIND + place, unit.ward.id, due_ms, found)

    def judge(self, kind: int, ward: str, due_ms: int, found: list[Event]) -> None:
        """Judge what waits in a ward at its deadline."""
        place = kind - FIRST_KIND
        rule, units = self._kinds[place], self._wards[ward]
        name = rule.name
        waiting = [u for u in units if _waits(u, name, due_ms)]
        if waiting:
            self._touched.update(u.id for u in units if name in u.memory.shared or name in u.memory.watches)
            found += _judged(rule, units, waiting, due_ms)
        left = [s.wait_ms for u in units if (s := u.memory.shared.get(name)) and s.wait_ms is not None]
        self._waiting.pop((place, ward), None)
        if left:
            self._waiting[place, ward] = min(left) + rule.rule.hold_ms

    def leave(self, unit: Tracked, name: str, time_ms: int, found: list[Event]) -> None:
        """A unit does not show it any more."""
        share = unit.memory.shared.pop(name)
        if share.wait_ms is not None:  # nobody has been told
            return
        place = self._places[name]
        kind = self._kinds[place]
        rest = members(self._wards[unit.ward.id], name)
        if 2 * len(rest) > share.size:
            return
        self._touched.update(other.id for other in rest)
        if len(rest) >= kind.rule.many:
            found.append(_tell(kind, UPDATED, rest, share.told_ms, time_ms))
            return
        evidence: Evidence = {"units_were": share.size, "lasted_s": max(0, time_ms - share.told_ms) // 1000}
        found.append(_end(kind, share, unit.ward.id, time_ms, evidence))
        for other in rest:
            left = other.memory.shared[name]
            left.wait_ms, left.alone = time_ms, True
            self._await(place, unit.ward.id, time_ms)

    def stands(self, ward: str, name: str) -> bool:
        """Whether a ward's event has units of it; True when it is of no kind that is shared."""
        return name not in self._places or bool(members(self._wards.get(ward, ()), name))


def members(units: Sequence[Tracked], name: str) -> list[Tracked]:
    """The units of a ward that its standing event has taken."""
    return [u for u in units if (share := u.memory.shared.get(name)) and share.wait_ms is None]


def _waits(unit: Tracked, name: str, due_ms: int) -> bool:
    share = unit.memory.shared.get(name)
    return share is not None and share.wait_ms is not None and share.wait_ms <= due_ms


def _alike(kind: Kind, waiting: Sequence[Tracked]) -> list[Tracked]:
    """Those that may belong to one event with the first of them."""
    if not waiting:
        return []
    first = min(waiting, key=lambda u: (u.memory.shared[kind.name].since_ms, u.id)).memory.shared[kind.name]
    return [u for u in waiting if kind.alike(first, u.memory.shared[kind.name])]


def _waits_later(unit: Tracked, name: str, due_ms: int) -> bool:
    share = unit.memory.shared.get(name)
    return share is not None and share.wait_ms is not None and share.wait_ms > due_ms


def _judged(kind: Kind, units: Sequence[Tracked], waiting: Sequence[Tracked], due_ms: int) -> list[Event]:
    name, rule = kind.name, kind.rule
    standing = members(units, name)
    told_ms = standing[0].memory.shared[name].told_ms if standing else 0
    fresh = _alike(kind, [u for u in waiting if not u.memory.shared[name].alone])
    found: list[Event] = []
    if standing and fresh and due_ms - told_ms < rule.join_ms:
        found = [_tell(kind, UPDATED, [*standing, *fresh], told_ms, due_ms)]
    elif fresh:
        gone = fresh + [u for u in units if kind.shows(u) and _told_since(u, name, due_ms - rule.window_ms)]
        could = len(gone) + sum(kind.could(u) or _waits_later(u, name, due_ms) for u in units if u not in gone)
        if len(gone) >= rule.units and (len(gone) >= rule.many or len(gone) >= rule.share * could):
            found = _told_together(kind, standing, gone, due_ms)
    return found + _alone(kind, waiting, due_ms)


def _told_since(unit: Tracked, name: str, from_ms: int) -> bool:
    watch = unit.memory.watches.get(name)
    return watch is not None and watch.raised_ms is not None and watch.raised_ms >= from_ms


def _told_together(kind: Kind, standing: Sequence[Tracked], gone: Sequence[Tracked], due_ms: int) -> list[Event]:
    """Raise the ward's event; one that stands from long before is raised anew with all it has taken."""
    name = kind.name
    found, folded = [], []
    if standing:
        share = standing[0].memory.shared[name]
        found = [_end(kind, share, standing[0].ward.id, due_ms, {"told_as": name})]
    for unit in gone:
        watch = unit.memory.watches.get(name)
        if watch is not None:
            folded += clear_all(unit, (name,), due_ms, {"told_as": name})
            unit.memory.shared[name] = Shared(watch.since_ms, unit.ward.id, cause=watch.cause)
    return [*found, _tell(kind, RAISED, [*standing, *gone], due_ms, due_ms), *folded]


def _alone(kind: Kind, waiting: Sequence[Tracked], due_ms: int) -> list[Event]:
    found = []
    for unit in waiting:
        share = unit.memory.shared[kind.name]
        if share.wait_ms is not None and share.wait_ms + kind.rule.hold_ms <= due_ms:
            del unit.memory.shared[kind.name]
            if (event := kind.alone(unit, share, due_ms)) is not None:
                found.append(event)
    return found


def _tell(kind: Kind, what: str, units: Sequence[Tracked], told_ms: int, time_ms: int) -> Event:
    """Name all these units in the ward's event."""
    whole = kind.whole(units, time_ms)
    for unit in units:
        share = unit.memory.shared[kind.name]
        share.wait_ms, share.told_ms, share.size, share.alone = None, told_ms, len(units), False
        share.priority, share.audience = whole.priority, whole.audience
    return Event(
        time_ms=time_ms, unit="", ward=units[0].ward.id, event=what, condition=kind.name, priority=whole.priority,
        audience=whole.audience, cause=whole.cause, evidence=whole.evidence,
        action=action_text(whole.action, whole.evidence),
    )  # fmt: skip


def _end(kind: Kind, share: Shared, ward: str, time_ms: int, evidence: Evidence) -> Event:
    return Event(
        time_ms=time_ms, unit="", ward=ward, event=CLEARED, condition=kind.name, priority=share.priority,
        audience=share.audience, evidence=evidence,
    )  # fmt: skip
