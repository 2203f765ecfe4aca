"""What is to be planned, in whole days and minutes: the jobs, and what bounds them. Made by `jobs`, used by the rest.

Days are numbers counted from the plan's first day; only working days occur. A job is one task of one unit, once.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from typing import Final
from zlib import crc32

import msgspec

#: Fetching the unit, saying so to the ward, changing over and back, for each visit to a unit (common practice, no
#: source).
SETUP_MIN: Final = 10
#: When technicians work, in minutes of the day, and how long one works at most (common practice, no source).
SHIFT_MIN: Final = (8 * 60, 17 * 60)
LONGEST_DAY_MIN: Final = 8 * 60
#: Within so many days of its due date a task may go on any day in a large plan too.
NEAR_DAYS: Final = 7
#: Monday to Friday.
WORK_DAYS: Final = (0, 1, 2, 3, 4)


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """One task of one unit; `days` are those on which it may be done, `due` may lie before the plan.

    early_cost is what each day before `due` wastes. `shortfall_lpm` is what the ward lacks while the unit is out, to
    come from its cylinders. `refused` says why a job without days has none.
    """

    unit: str
    ward: str
    task: str
    due: int
    days: tuple[int, ...]
    minutes: int
    title: str = ""
    takes_out: bool = True
    parts: tuple[tuple[str, int], ...] = ()
    early_cost: float = 0.0
    weight: float = 1.0
    shortfall_lpm: float = 0.0
    refused: str = ""

    @property
    def gas_l(self) -> float:
        """Litres of backup oxygen that the ward needs meanwhile, changing over included."""
        return self.shortfall_lpm * (self.minutes + SETUP_MIN) if self.takes_out else 0.0


class Shelf(msgspec.Struct, frozen=True):
    """Pieces of a part in stock, and the day from which more of it can be there if ordered on the first day."""

    stock: int
    more_from: int


class Workload(msgspec.Struct, frozen=True, kw_only=True):
    """All that bounds a plan of `last` + 1 days.

    minutes is technicians' time of a day; quiet holds the minutes of the day (from, to) in which a ward is left alone;
    campus is where a ward lies when travel there counts, travel_min what a day's going there and back takes; gas_l is
    what a ward's cylinders give, reserve taken off. `placed` are jobs whose day people have set, by place in `jobs`.
    """

    jobs: tuple[Job, ...]
    last: int
    days: tuple[int, ...]
    minutes: int
    quiet: Mapping[str, tuple[tuple[int, int], ...]] = {}
    campus: Mapping[str, str] = {}
    travel_min: Mapping[str, int] = {}
    shelves: Mapping[str, Shelf] = {}
    gas_l: Mapping[str, float] = {}
    placed: Mapping[int, int] = {}

    @property
    def technicians(self) -> int:
        """How many work side by side."""
        return max(1, ceil(self.minutes / LONGEST_DAY_MIN))

    def open_min(self, ward: str) -> int:
        """Minutes in which a ward may be worked in: outside its quiet hours, and no more than one technician's day."""
        from_min, to_min = SHIFT_MIN
        shut = sum(max(0, min(to_min, b) - max(from_min, a)) for a, b in self.quiet.get(ward, ()))
        return max(0, min(LONGEST_DAY_MIN, to_min - from_min - shut))


def narrowed(job: Job) -> tuple[int, ...]:
    """Some of a job's days: those near its due date, and of the others its ward's weekday.

    Far from their due dates tasks of a ward so meet on the same days, and large plans stay solvable.
    """
    weekday = crc32(job.ward.encode()) % 7
    near = max(job.due, 0)
    return tuple(day for day in job.days if abs(day - near) <= NEAR_DAYS or day % 7 == weekday)


#: The day of each job, by place in `Workload.jobs`; None for what is not planned.
Days = list[int | None]
