"""What a plan has used so far, and whether one more job has room on a day: the one place that knows every bound.

What people have set stands, even where it breaks a bound; it leaves no room beside it then.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from typing import Final

from collector.service.timetable import Slot, timetable
from collector.service.workload import SETUP_MIN, Days, Job, Workload

#: Why a job has no room on a day.
HOURS: Final = "hours"
WARD: Final = "ward"
PARTS: Final = "parts"
GAS: Final = "gas"
TIMES: Final = "times"
#: Several technicians side by side: from this share of their time on, a day is only full by its timetable.
_LOOSE_SHARE: Final = 0.5


class Ledger:
    """Jobs put on days, with what they use; `days` is the plan."""

    def __init__(self, load: Workload) -> None:
        self.load = load
        self.days: Days = [None] * len(load.jobs)
        self.minutes: Counter[int] = Counter()
        self.ward_minutes: Counter[tuple[str, int]] = Counter()
        self.visits: dict[tuple[str, int], set[int]] = defaultdict(set)
        self.wards: dict[int, Counter[str]] = defaultdict(Counter)
        self.on: dict[int, set[int]] = defaultdict(set)
        self.parts: Counter[str] = Counter()
        self.gas_l: defaultdict[str, float] = defaultdict(float)
        self._narrow = {job.ward for job in load.jobs if load.open_min(job.ward) < load.open_min("")}
        for place, day in load.placed.items():
            self.put(place, day)

    def put(self, place: int, day: int) -> None:
        """Put a job on a day; nothing is asked."""
        self._book(place, day, 1)
        self.days[place] = day

    def take(self, place: int) -> None:
        """Take a job off its day, if it has one."""
        day = self.days[place]
        if day is not None:
            self.days[place] = None
            self._book(place, day, -1)

    def _book(self, place: int, day: int, sign: int) -> None:
        job = self.load.jobs[place]
        visit = self.visits[job.unit, day]
        if sign < 0:  # what it adds to the day without it is what goes
            visit.discard(place)
            self.on[day].discard(place)
            self.wards[day][job.ward] -= 1
        self.minutes[day] += sign * self.added_min(job, day)
        self.ward_minutes[job.ward, day] += sign * (job.minutes + (0 if visit else SETUP_MIN))
        if sign > 0:
            visit.add(place)
            self.on[day].add(place)
            self.wards[day][job.ward] += 1
        for part, count in job.parts:
            if part in self.load.shelves and day < self.load.shelves[part].more_from:
                self.parts[part] += sign * count
        self.gas_l[job.ward] += sign * job.gas_l

    def added_min(self, job: Job, day: int) -> int:
        """Technicians' minutes that a job adds to a day as it stands: its own, the visit's and the journey's."""
        added = job.minutes + (0 if self.visits.get((job.unit, day)) else SETUP_MIN)
        campus = self.load.campus.get(job.ward)
        there = campus is None or any(n > 0 and self.load.campus.get(w) == campus for w, n in self.wards[day].items())
        return added + (0 if there or campus is None else self.load.travel_min.get(campus, 0))

    def why_not(self, place: int, day: int) -> str:
        """What leaves no room for a job on a day, or "" when there is room."""
        job, load = self.load.jobs[place], self.load
        if self.minutes[day] + self.added_min(job, day) > load.minutes:
            return HOURS
        in_ward = job.minutes + (0 if self.visits.get((job.unit, day)) else SETUP_MIN)
        if self.ward_minutes[job.ward, day] + in_ward > load.open_min(job.ward):
            return WARD
        for part, count in job.parts:
            shelf = load.shelves.get(part)
            if shelf is not None and day < shelf.more_from and self.parts[part] + count > shelf.stock:
                return PARTS
        if job.gas_l and self.gas_l[job.ward] + job.gas_l > load.gas_l.get(job.ward, 0.0):
            return GAS
        return TIMES if self._times_fail(place, day) else ""

    def _times_fail(self, place: int, day: int) -> bool:
        if not self.is_tight(day, self.load.jobs[place].ward):
            return False
        slots = self.slots(day, place)
        return timetable(self.load, slots) is None

    def is_tight(self, day: int, ward: str = "") -> bool:
        """Whether the sums alone do not show that a day's visits find their times."""
        if ward in self._narrow or any(n > 0 and w in self._narrow for w, n in self.wards[day].items()):
            return True
        return self.load.technicians > 1 and self.minutes[day] > _LOOSE_SHARE * self.load.minutes

    def slots(self, day: int, also: int | None = None) -> list[Slot]:
        """A day's visits as slots for the timetable, as if one more job were put there."""
        found: dict[tuple[str, str], int] = {}
        places = sorted(self.on[day])
        for place in places if also is None else [*places, also]:
            job = self.load.jobs[place]
            key = (job.unit, job.ward)
            found[key] = found.get(key, SETUP_MIN) + job.minutes
        return [Slot(unit, ward, minutes) for (unit, ward), minutes in found.items()]

    def has_times(self, day: int) -> bool:
        """Whether a day's visits can be given times."""
        return not self.is_tight(day) or timetable(self.load, self.slots(day)) is not None
