"""Times of the day for one day's visits: nobody in two places, one unit of a ward at a time, quiet hours kept.

Ward by ward first, the fullest before others, so that nobody walks to and fro; if that does not fit, the longest visits
first. Neither finds every way that there is: a day for which both fail counts as full.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import msgspec

from collector.service.workload import LONGEST_DAY_MIN, SHIFT_MIN, Workload


class Slot(msgspec.Struct, frozen=True):
    """A visit of a day to be given a time."""

    unit: str
    ward: str
    minutes: int


Busy = list[tuple[int, int]]


def timetable(load: Workload, slots: Sequence[Slot]) -> dict[str, int] | None:
    """Minute of the day at which each unit's visit begins, or None when no way was found."""
    travel = _travel_min(load, slots)
    from_min = SHIFT_MIN[0] + travel
    long_first = sorted(slots, key=lambda slot: (-slot.minutes, slot.unit))
    spare: Counter[str] = Counter({slot.ward: load.open_min(slot.ward) for slot in slots})
    for slot in slots:
        spare[slot.ward] -= slot.minutes
    by_ward = sorted(slots, key=lambda slot: (spare[slot.ward], slot.ward, -slot.minutes, slot.unit))
    for order in (by_ward, long_first):
        if (found := _in_order(load, order, from_min)) is not None:
            return found
    return None


def _travel_min(load: Workload, slots: Sequence[Slot]) -> int:
    campuses = {load.campus[slot.ward] for slot in slots if slot.ward in load.campus}
    return -(-sum(load.travel_min.get(campus, 0) for campus in campuses) // load.technicians)


def _in_order(load: Workload, order: Sequence[Slot], from_min: int) -> dict[str, int] | None:
    people: list[Busy] = [[] for _ in range(load.technicians)]
    wards: dict[str, Busy] = {}
    found: dict[str, int] = {}
    for slot in order:
        ward = wards.setdefault(slot.ward, list(load.quiet.get(slot.ward, ())))
        starts = [(_earliest(slot.minutes, from_min, [*busy, *ward]), place) for place, busy in enumerate(people)
                  if sum(b - a for a, b in busy) + slot.minutes <= LONGEST_DAY_MIN]  # fmt: skip
        good = [(start, place) for start, place in starts if start is not None]
        if not good:
            return None
        start, place = min(good)
        taken = (start, start + slot.minutes)
        people[place].append(taken)
        ward.append(taken)
        found[slot.unit] = start
    return found


def _earliest(minutes: int, from_min: int, busy: Busy) -> int | None:
    start = from_min
    for a, b in sorted(busy):
        if start + minutes <= a:
            break
        start = max(start, b)
    return start if start + minutes <= SHIFT_MIN[1] else None
