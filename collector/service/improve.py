"""From the plan by due date to a better one: freed jobs are solved anew block by block, and only what is better stays.

So every bound holds at any moment, and the plan can only become better than the one by due date: never more due dates
missed, and a visit more only for a due date more that is kept or a task more that is done. A small plan is one block
and its optimum is proven; a large one is relaxed, rounded, and mended by fortnight and ward.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

import msgspec

from collector.service.greedy import by_due_date, complete
from collector.service.ledger import Ledger
from collector.service.scores import job_cost, score
from collector.service.solve import OPTIMAL_GAP, Block, Most
from collector.service.workload import Days, Workload, narrowed

#: So many (job, day) pairs are solved as one block; in larger plans days are narrowed.
ONE_BLOCK: Final = 2500
#: Shares of the time for the relaxation of the narrowed plan, for what it leaves open, for going through weeks and
#: wards, and for the bound. The relaxation of fewer than so many pairs may take less, and the searches more.
_RELAX_SHARE: Final = 0.6
_REST_SHARE: Final = 0.15
_BLOCKS_SHARE: Final = 0.15
_RELAX_PAIRS: Final = 20_000
#: With more pairs the bound would take longer than all the rest; then that of the narrowed plan stands.
_BOUND_PAIRS: Final = 30_000
#: Days without times are narrowed to this share and solved again, so often.
_NARROWER: Final = 0.9
_TRIES: Final = 3
#: Points that are no difference.
_SAME: Final = 1e-6


class Improved(msgspec.Struct, frozen=True):
    """A plan, and what no plan can be better than; `proven` when the solver says that it is the optimum.

    narrow: the bound is that of plans which keep to narrowed days, since there was no time for more.
    """

    ledger: Ledger
    bound: float
    proven: bool
    narrow: bool = False


class _Within(msgspec.Struct, frozen=True):
    """What every step keeps to: no worse than by due date, and some days for each job."""

    most: Most
    choices: Mapping[int, tuple[int, ...]]


def improve(load: Workload, seconds: float) -> Improved:
    """The best plan found in about so many seconds of the solver's time."""
    ledger = by_due_date(load)
    plain = score(load, ledger.days)
    most = Most(plain.missed, plain.total)
    freed = [place for place in range(len(load.jobs)) if place not in load.placed]
    standing = _standing(ledger, freed)
    pairs = sum(len(load.jobs[place].days) for place in freed)
    if pairs <= ONE_BLOCK:
        own, proven = _solve_block(ledger, freed, _Within(most, {}), seconds)
        return Improved(ledger, min(standing + own, score(load, ledger.days).cost), proven)
    before = dict(enumerate(ledger.days))
    choices = {place: _with(narrowed(load.jobs[place]), ledger.days[place]) for place in freed}
    own = _search(ledger, freed, _Within(most, choices), seconds)
    bound_s = (1 - _RELAX_SHARE - _REST_SHARE - _BLOCKS_SHARE) * seconds
    whole = _bound(load, freed, before, most, bound_s) if pairs <= _BOUND_PAIRS else None
    bound = standing + (own if whole is None else whole)
    return Improved(ledger, min(bound, score(load, ledger.days).cost), False, narrow=whole is None)


def _search(ledger: Ledger, freed: Sequence[int], within: _Within, seconds: float) -> float:
    """Round, then mend block by block; the bound on the points of these jobs within their choices."""
    load = ledger.load
    pairs = sum(map(len, within.choices.values()))
    relax_s = _RELAX_SHARE * seconds * min(1.0, pairs / _RELAX_PAIRS)
    left_s = (_RELAX_SHARE + _REST_SHARE + _BLOCKS_SHARE) * seconds - relax_s
    own, rest = _round(ledger, freed, within, relax_s)
    own = max(
        own, sum(min(job_cost(load.jobs[p], day, load.last) for day in (*load.jobs[p].days, None)) for p in freed)
    )
    rest_s = left_s * _REST_SHARE / (_REST_SHARE + _BLOCKS_SHARE)
    _solve_block(ledger, rest, within, rest_s)
    blocks = [*_by_weeks(ledger, freed), *_by_ward(load, freed)]
    for block in blocks:
        cost = score(load, ledger.days).cost
        if cost - own > OPTIMAL_GAP * cost:
            _solve_block(ledger, block, within, (left_s - rest_s) / len(blocks))
    return own


def _bound(
    load: Workload, freed: Sequence[int], before: Mapping[int, int | None], most: Most, seconds: float
) -> float | None:
    """The points that these jobs cannot be under, whatever their days; None when there was no time to find it."""
    ledger = Ledger(load)
    block = Block(ledger, freed, {place: _with(load.jobs[place].days, before[place]) for place in freed})
    block.limit(_left(ledger, freed, most))
    relaxed = block.relax(seconds)
    return None if relaxed.days is None else relaxed.bound


def _with(days: tuple[int, ...], day: int | None) -> tuple[int, ...]:
    return days if day is None or day in days else (*days, day)


def _by_ward(load: Workload, freed: Sequence[int]) -> list[list[int]]:
    wards: dict[str, list[int]] = defaultdict(list)
    for place in freed:
        wards[load.jobs[place].ward].append(place)
    return [wards[ward] for ward in sorted(wards)]


def _by_weeks(ledger: Ledger, freed: Sequence[int]) -> list[list[int]]:
    """What is planned, or due, in the same fortnight."""
    weeks: dict[int, list[int]] = defaultdict(list)
    for place in freed:
        day = ledger.days[place]
        weeks[max(0, ledger.load.jobs[place].due if day is None else day) // 14].append(place)
    return [weeks[week] for week in sorted(weeks)]


def _standing(ledger: Ledger, freed: Collection[int]) -> float:
    """Points of what is not freed."""
    load = ledger.load
    days: Days = list(ledger.days)
    for place in freed:
        days[place] = None
    none = sum(job_cost(load.jobs[place], None, load.last) for place in freed)
    return score(load, days).cost - none


def _round(ledger: Ledger, places: Sequence[int], within: _Within, seconds: float) -> tuple[float, list[int]]:
    """Keep what the relaxation of everything decides, the rest by due date on its likeliest day, if that is better.

    Returns the bound on the points of these jobs, and the places that the relaxation left open.
    """
    load, before = ledger.load, {place: ledger.days[place] for place in places}
    cost = score(load, ledger.days).cost
    _take(ledger, places)
    block, most = Block(ledger, places, within.choices), within.most
    block.limit(_left(ledger, places, most))
    relaxed = block.relax(seconds)
    if relaxed.days is not None:
        _put(ledger, {place: day for place, day in relaxed.days.items() if place not in relaxed.open})
        loose = [*relaxed.open, *_relieved(ledger, relaxed.days)]
        complete(ledger, sorted(loose, key=lambda place: (load.jobs[place].due, place)), relaxed.days)
        found = score(load, ledger.days)
        good = found.missed <= most.missed and found.total <= most.total and found.cost <= cost
        if good and not _without_times(ledger, relaxed.days):
            return relaxed.bound, sorted(relaxed.open)
        _take(ledger, places)
    _put(ledger, before)
    return relaxed.bound, sorted(relaxed.open)


def _solve_block(ledger: Ledger, places: Sequence[int], within: _Within, seconds: float) -> tuple[float, bool]:
    """Solve some jobs anew, keep what is not worse; the solver's bound on their points, and whether it is reached."""
    load, before = ledger.load, {place: ledger.days[place] for place in places}
    cost = score(load, ledger.days).cost
    _take(ledger, places)
    choices = {place: _with(within.choices.get(place, load.jobs[place].days), day) for place, day in before.items()}
    block = Block(ledger, places, choices)
    block.limit(_left(ledger, places, within.most))
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


def _relieved(ledger: Ledger, days: Mapping[int, int | None]) -> list[int]:
    """Take the shortest visits off days whose visits find no times, until they do; the places taken off."""
    taken = []
    for day in _without_times(ledger, days):
        slots = sorted(ledger.slots(day), key=lambda slot: (slot.minutes, slot.unit))
        while slots and not ledger.has_times(day):
            places = sorted(ledger.visits[slots.pop(0).unit, day].difference(ledger.load.placed))
            _take(ledger, places)
            taken += places
    return taken


def _left(ledger: Ledger, freed: Iterable[int], most: Most) -> Most:
    """What is left to the freed jobs, which are off their days, of what the plan by due date comes to."""
    stays = set(range(len(ledger.days))).difference(freed)
    jobs = ledger.load.jobs
    missed = sum((day := ledger.days[place]) is None or day > jobs[place].due for place in stays)
    none = sum(ledger.days[place] is None for place in stays)
    visits = sum(bool(visit) for visit in ledger.visits.values())
    return Most(most.missed - missed, most.total - missed - none - visits)
