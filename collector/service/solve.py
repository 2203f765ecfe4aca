"""Some jobs of a plan put on their best days at once, by HiGHS (scipy.optimize.milp), while all others stay.

One variable for each job and day, one for each visit, ward trip and journey; what the others use is taken off the
bounds. A task is done only on a visit, so `job <= visit` for each of them: such relaxations are nearly whole already
(intervals hit by visits, a totally unimodular problem, but for the shared hours, parts and gas).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Hashable, Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

import msgspec
import numpy as np

from collector.service.ledger import Ledger
from collector.service.scores import JOURNEY, TRIP, VISIT, job_cost
from collector.service.workload import SETUP_MIN, Workload

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint

#: A gap this small counts as an optimum: less than a walk to a ward in a plan of a thousand points.
OPTIMAL_GAP: Final = 5e-3
_FREE: Final = np.inf
#: A job's share of a day that is as good as all of it.
_WHOLE: Final = 0.999
Kind = Literal["job", "none", "visit", "trip", "journey"]


class Solved(msgspec.Struct, frozen=True):
    """Days of the freed jobs by place (None: not planned); no days when none were found in the time; a lower bound."""

    days: Mapping[int, int | None] | None
    bound: float
    optimal: bool


class Relaxed(msgspec.Struct, frozen=True):
    """Each freed job's likeliest day by place; `open` are those that came out in shares. None: no time left."""

    days: Mapping[int, int | None] | None
    bound: float
    open: frozenset[int]


class Most(msgspec.Struct, frozen=True):
    """At most so many due dates missed; with visits and tasks left out at most so many in all.

    So a visit more is allowed for each due date more that is kept and each task more that is done, and no other.
    """

    missed: int
    total: int


class Block:
    """The linear programme of some freed jobs; `ledger` holds the plan without them.

    choices are days of some of the jobs by place; without any, all of a job's days are its choice.
    """

    def __init__(self, ledger: Ledger, freed: Collection[int], choices: Mapping[int, Collection[int]]) -> None:
        self.load: Workload = ledger.load
        self.ledger = ledger
        self.freed = sorted(freed)
        self.choices = choices
        self.columns: dict[tuple[Hashable, ...], int] = {}
        self.cost: list[float] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []
        self._sums: dict[tuple[Hashable, ...], dict[int, float]] = defaultdict(lambda: defaultdict(float))
        for place in self.freed:
            self._add_job(place)
        self._add_sums()

    def _column(self, cost: float, *key: Hashable) -> int:
        if key not in self.columns:
            self.columns[key] = len(self.cost)
            self.cost.append(cost)
        return self.columns[key]

    def _add_job(self, place: int) -> None:
        job, last = self.load.jobs[place], self.load.last
        none = self._column(job_cost(job, None, last), "none", place)
        one_day = {none: 1.0}
        for day in sorted(self.choices.get(place, job.days)):
            column = self._column(job_cost(job, day, last), "job", place, day)
            one_day[column] = 1.0
            self._sums["day", day][column] += job.minutes
            self._sums["ward", job.ward, day][column] += job.minutes
            for part, count in job.parts:
                if part in self.load.shelves and day < self.load.shelves[part].more_from:
                    self._sums["part", part][column] += count
            if job.gas_l:
                self._sums["gas", job.ward][column] += job.gas_l
            if not self.ledger.visits.get((job.unit, day)):
                self._under(column, self._visit(job.unit, job.ward, day))
        self.rows.append((one_day, 1.0, 1.0))

    def _under(self, column: int, over: int) -> None:
        self.rows.append(({column: 1.0, over: -1.0}, -_FREE, 0.0))

    def _visit(self, unit: str, ward: str, day: int) -> int:
        if ("visit", unit, day) in self.columns:
            return self.columns["visit", unit, day]
        column = self._column(VISIT, "visit", unit, day)
        self._sums["day", day][column] += SETUP_MIN
        self._sums["ward", ward, day][column] += SETUP_MIN
        if self.ledger.wards[day][ward] <= 0:
            self._under(column, self._trip(ward, day))
        return column

    def _trip(self, ward: str, day: int) -> int:
        if ("trip", ward, day) in self.columns:
            return self.columns["trip", ward, day]
        column = self._column(TRIP, "trip", ward, day)
        campus = self.load.campus.get(ward)
        if campus is not None and not any(
            n > 0 and self.load.campus.get(other) == campus for other, n in self.ledger.wards[day].items()
        ):
            journey = self._column(JOURNEY, "journey", campus, day)
            self._sums["day", day][journey] = self.load.travel_min.get(campus, 0)
            self._under(column, journey)
        return column

    def _room(self, key: tuple[Hashable, ...]) -> float:
        load, ledger = self.load, self.ledger
        match key:
            case ("day", int(day)):
                return load.minutes - ledger.minutes[day]
            case ("ward", str(ward), int(day)):
                return load.open_min(ward) - ledger.ward_minutes[ward, day]
            case ("part", str(part)):
                return load.shelves[part].stock - ledger.parts[part]
            case ("gas", str(ward)):
                return load.gas_l.get(ward, 0.0) - ledger.gas_l[ward]
        raise AssertionError(key)

    def _add_sums(self) -> None:
        for key, row in self._sums.items():
            self.rows.append((dict(row), -_FREE, max(0.0, self._room(key))))

    def limit(self, most: Most) -> None:
        """Let the freed jobs come to no more than that."""
        late = {column: 1.0 for key, column in self.columns.items() if self._is_late(key)}
        self.rows.append((late, -_FREE, most.missed))
        total = dict(late)
        for key, column in self.columns.items():
            if key[0] in ("visit", "none"):
                total[column] = total.get(column, 0.0) + 1.0
        self.rows.append((total, -_FREE, most.total))

    def _is_late(self, key: tuple[Any, ...]) -> bool:
        return key[0] == "none" or bool(key[0] == "job" and key[2] > self.load.jobs[key[1]].due)

    def shut(self, day: int, share: float) -> None:
        """Leave less of a day's time to the freed jobs: its visits found no times."""
        row = dict(self._sums["day", day])
        self.rows.append((row, -_FREE, max(0.0, share * self._room(("day", day)))))

    def solve(self, seconds: float) -> Solved:
        """The best days found in so many seconds."""
        if not self.freed:
            return Solved({}, 0.0, True)
        found = self._milp([int(key[0] in ("job", "visit")) for key in self.columns], seconds)
        bound = float(found.mip_dual_bound) if found.mip_dual_bound is not None else 0.0
        if found.x is None:
            return Solved(None, bound, False)
        days = {place: day for place, (day, _) in self._likeliest(found.x).items()}
        return Solved(days, bound, found.status == 0)

    def relax(self, seconds: float) -> Relaxed:
        """The same in shares of jobs and visits, which bounds every plan."""
        found = self._milp([0] * len(self.cost), seconds)
        if found.status != 0:
            return Relaxed(None, 0.0, frozenset())
        best = self._likeliest(found.x)
        days = {place: day for place, (day, _) in best.items()}
        return Relaxed(days, float(found.fun), frozenset(p for p, (_, share) in best.items() if share < _WHOLE))

    def _milp(self, integrality: list[int], seconds: float) -> Any:  # noqa: ANN401 - scipy has no types
        options = {"time_limit": seconds, "mip_rel_gap": OPTIMAL_GAP}
        from scipy.optimize import Bounds, milp  # half a second: only for those who plan

        return milp(np.array(self.cost), integrality=integrality, bounds=Bounds(0, 1), constraints=self._matrix(),
                    options=options)  # fmt: skip

    def _matrix(self) -> LinearConstraint:
        from scipy.optimize import LinearConstraint
        from scipy.sparse import csr_array

        lengths = [len(row) for row, _, _ in self.rows]
        columns = [column for row, _, _ in self.rows for column in row]
        values = [value for row, _, _ in self.rows for value in row.values()]
        starts = np.concatenate([[0], np.cumsum(lengths)])
        matrix = csr_array((values, columns, starts), shape=(len(self.rows), len(self.cost)))
        return LinearConstraint(matrix, [low for _, low, _ in self.rows], [high for _, _, high in self.rows])

    def _likeliest(self, x: Any) -> dict[int, tuple[int | None, float]]:  # noqa: ANN401 - scipy has no types
        best: dict[int, tuple[int | None, float]] = dict.fromkeys(self.freed, (None, 0.0))
        for key, column in self.columns.items():
            if key[0] in ("job", "none") and x[column] > best[place := int(str(key[1]))][1]:
                best[place] = (int(str(key[2])) if key[0] == "job" else None, float(x[column]))
        return best
