"""From the plan by due date to a better one: freed jobs are solved anew block by block, and only what is better stays.

So every bound holds at any moment, and the plan can only become better than the one by due date: never more due dates
missed, never more visits. A small plan is one block and its optimum is proven; of a large one each ward is a block.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

import msgspec

from collector.service.greedy import by_due_date
from collector.service.ledger import Ledger
from collector.service.scores import job_cost, score
from collector.service.solve import Block, Most
from collector.service.workload import Days, Workload

#: So many (job, day) pairs are solved as one block.
ONE_BLOCK: Final = 2500
#: Shares of the time for the relaxation and for what it leaves open; the rest is for going through the wards.
_RELAX_SHARE: Final = 0.6
_REST_SHARE: Final = 0.3
#: A plan this near to the bound is not worked on any further.
_GOOD_GAP: Final = 0.005
#: Days without times are narrowed to this share and solved again, so often.
_NARROWER: Final = 0.9
_TRIES: Final = 3
#: Points that are no difference.
_SAME: Final = 1e-6


class Improved(msgspec.Struct, frozen=True):
    """A plan, and what no plan can be better than; `proven` when the solver says that it is the optimum."""

    ledger: Ledger
    bound: float
    proven: bool


def improve(load: Workload, seconds: float) -> Improved:
    """The best plan found in about so many seconds of the solver's time."""
    ledger = by_due_date(load)
    freed = [place for place in range(len(load.jobs)) if place not in load.placed]
    standing = _standing(ledger, freed)
    if sum(len(load.jobs[place].days) for place in freed) <= ONE_BLOCK:
        own, proven = _solve_block(ledger, freed, seconds)
        return Improved(ledger, min(standing + own, score(load, ledger.days).cost), proven)
    own = _round(ledger, freed, seconds)
    cheapest = sum(min(job_cost(load.jobs[p], day, load.last) for day in (*load.jobs[p].days, None)) for p in freed)
    bound = standing + max(own, cheapest)
    cost = score(load, ledger.days).cost
    if cost - bound > _GOOD_GAP * cost:
        blocks = _by_ward(load, freed)
        for block in blocks:
            _solve_block(ledger, block, (1 - _RELAX_SHARE - _REST_SHARE) * seconds / len(blocks))
    return Improved(ledger, min(bound, score(load, ledger.days).cost), False)


def _by_ward(load: Workload, freed: Sequence[int]) -> list[list[int]]:
    wards: dict[str, list[int]] = defaultdict(list)
    for place in freed:
        wards[load.jobs[place].ward].append(place)
    return [wards[ward] for ward in sorted(wards)]


def _standing(ledger: Ledger, freed: Collection[int]) -> float:
    """Points of what is not freed."""
    load = ledger.load
    days: Days = list(ledger.days)
    for place in freed:
        days[place] = None
    none = sum(job_cost(load.jobs[place], None, load.last) for place in freed)
    return score(load, days).cost - none


def _round(ledger: Ledger, places: Sequence[int], seconds: float) -> float:
    """Keep what the relaxation of everything decides, and solve the rest; its bound on the points of these jobs."""
    before = {place: ledger.days[place] for place in places}
    cost = score(ledger.load, ledger.days).cost
    _take(ledger, places)
    most = _most(ledger, before)
    block = Block(ledger, places)
    block.limit(most)
    relaxed = block.relax(_RELAX_SHARE * seconds)
    if relaxed.days is None or not _solve_rest(ledger, places, relaxed.days, most, _REST_SHARE * seconds):
        _put(ledger, before)
    elif score(ledger.load, ledger.days).cost > cost + _SAME:
        _take(ledger, places)
        _put(ledger, before)
    return relaxed.bound


def _solve_rest(
    ledger: Ledger, places: Sequence[int], whole: Mapping[int, int | None], most: Most, seconds: float
) -> bool:
    """Put the whole ones, solve the others; whether a plan with times for every day was found (else nothing is put)."""
    open_days: set[int] = set()
    for turn in range(_TRIES):
        kept = {place: day for place, day in whole.items() if day not in open_days}
        used = _most(ledger, kept)
        _put(ledger, kept)
        rest = [place for place in places if place not in kept]
        block = Block(ledger, rest)
        block.limit(Most(most.missed - used.missed, most.visits - used.visits))
        for day in open_days:
            block.shut(day, _NARROWER**turn)
        solved = block.solve(seconds / (turn + 1))
        if solved.days is not None:
            _put(ledger, solved.days)
            if not (full := _without_times(ledger, {**kept, **solved.days})):
                return True
            open_days.update(full)
        _take(ledger, places)
        if solved.days is None:
            break
    return False


def _solve_block(ledger: Ledger, places: Sequence[int], seconds: float) -> tuple[float, bool]:
    """Solve some jobs anew, keep what is not worse; the solver's bound on their points, and whether it is reached."""
    load, before = ledger.load, {place: ledger.days[place] for place in places}
    cost = score(load, ledger.days).cost
    _take(ledger, places)
    block = Block(ledger, places)
    block.limit(_most(ledger, before))
    bound = 0.0
    for turn in range(_TRIES):
        solved = block.solve(seconds if turn == 0 else seconds / _TRIES)
        if turn == 0:
            bound = solved.bound
        if solved.days is None:
            break
        _put(ledger, solved.days)
        full = _without_times(ledger, solved.days)
        if not full and score(load, ledger.days).cost <= cost + _SAME:
            return bound, solved.optimal and turn == 0
        _take(ledger, places)
        if not full:
            break
        for day in full:
            block.shut(day, _NARROWER ** (turn + 1))
    _put(ledger, before)
    return bound, False


def _put(ledger: Ledger, days: Mapping[int, int | None]) -> None:
    for place, day in days.items():
        if day is not None:
            ledger.put(place, day)


def _take(ledger: Ledger, places: Iterable[int]) -> None:
    for place in places:
        ledger.take(place)


def _without_times(ledger: Ledger, days: Mapping[int, int | None]) -> list[int]:
    used = sorted({day for day in days.values() if day is not None})
    return [day for day in used if not ledger.has_times(day)]


def _most(ledger: Ledger, before: Mapping[int, int | None]) -> Most:
    """What some jobs come to on those days; `ledger` is without them."""
    jobs = ledger.load.jobs
    missed = sum(day is None or day > jobs[place].due for place, day in before.items())
    visits = {(jobs[place].unit, day) for place, day in before.items() if day is not None}
    return Most(missed, sum(not ledger.visits.get(visit) for visit in visits))
