"""Plans of visits: every bound holds whatever is asked, never worse than by due date, and near the best there is."""

from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from collector.service.greedy import by_due_date
from collector.service.improve import improve
from collector.service.ledger import Ledger
from collector.service.scores import score
from collector.service.timetable import timetable
from collector.service.workload import SETUP_MIN, SHIFT_MIN, Shelf
from tests.collector.service.loads import hospital, job, load, workdays

WARDS = ("newborn", "children")
QUIET = {"children": ((0, 9 * 60), (12 * 60, 15 * 60), (20 * 60, 24 * 60))}


@st.composite
def loads_(draw, jobs=8, weeks=2):
    """Small workloads with every kind of bound."""
    days = workdays(weeks)
    found = []
    for _ in range(draw(st.integers(0, jobs))):
        due = draw(st.integers(-5, 7 * weeks - 1))
        first = draw(st.integers(-5, 9))
        ward = draw(st.sampled_from(WARDS))
        found.append(job(
            f"{ward}-{draw(st.integers(1, 2))}", due, [day for day in days if day >= first], ward=ward,
            task=draw(st.sampled_from("abc")), minutes=draw(st.sampled_from((10, 30, 80, 200))),
            parts=draw(st.sampled_from(((), (("felt", 1),), (("felt", 2),)))), early_cost=draw(st.sampled_from((0, 1))),
            shortfall_lpm=draw(st.sampled_from((0.0, 0.0, 2.0))), takes_out=draw(st.booleans()),
        ))  # fmt: skip
    placed = {place: draw(st.sampled_from(days)) for place in range(len(found)) if draw(st.integers(0, 5)) == 0}
    return load(
        found, weeks, draw(st.sampled_from((60, 240, 900))), quiet=draw(st.sampled_from(({}, QUIET))),
        campus=draw(st.sampled_from(({}, {"children": "annexe"}))), travel_min={"annexe": 40},
        shelves={"felt": Shelf(draw(st.integers(0, 3)), draw(st.integers(0, 12)))},
        gas_l=dict.fromkeys(WARDS, draw(st.sampled_from((0.0, 200.0, 900.0)))), placed=placed,
    )  # fmt: skip


def broken(given_load, days):
    """Bounds that a plan breaks, computed anew from its days alone; days that people have set are left out."""
    found: list[tuple] = []
    fixed = set(given_load.placed.values())
    pairs = [(one, day) for one, day in zip(given_load.jobs, days, strict=True) if day is not None]
    for place, day in enumerate(days):
        if place in given_load.placed:
            found += [("moved", place)] if day != given_load.placed[place] else []
        elif day is not None and day not in given_load.jobs[place].days:
            found.append(("day", place))
    for day in {day for _, day in pairs} - fixed:
        here = [one for one, on in pairs if on == day]
        visits = {(one.unit, one.ward) for one in here}
        campuses = {given_load.campus[ward] for _, ward in visits if ward in given_load.campus}
        travel = sum(given_load.travel_min[campus] for campus in campuses)
        minutes = sum(one.minutes for one in here) + SETUP_MIN * len(visits) + travel
        found += [("hours", day, minutes)] if minutes > given_load.minutes else []
    if not given_load.placed:
        found += [
            ("parts", part)
            for part, shelf in given_load.shelves.items()
            if sum(dict(one.parts).get(part, 0) for one, day in pairs if day < shelf.more_from) > shelf.stock
        ]
        found += [("gas", ward) for ward, litres in given_load.gas_l.items()
                  if sum(one.gas_l for one, _ in pairs if one.ward == ward) > litres + 1e-6]  # fmt: skip
    return found


def overlaps(given_load, ledger):
    """Where times of a day collide: a unit of a ward while another is out, a quiet hour, a person in two places."""
    found: list[tuple] = []
    for day in {day for day in ledger.days if day is not None} - set(given_load.placed.values()):
        slots = ledger.slots(day)
        times = timetable(given_load, slots)
        if times is None:
            found.append(("no times", day))
            continue
        spans = [(times[slot.unit], times[slot.unit] + slot.minutes, slot) for slot in slots]
        for start, end, slot in spans:
            quiet = given_load.quiet.get(slot.ward, ())
            found += [("quiet", day)] if any(start < b and a < end for a, b in quiet) else []
            found += [("shift", day)] if start < SHIFT_MIN[0] or end > SHIFT_MIN[1] else []
            same = [other for a, b, other in spans if other is not slot and start < b and a < end]
            found += [("two of a ward", day)] if any(other.ward == slot.ward for other in same) else []
            at_once = sum(a <= start < b for a, b, _ in spans)
            found += [("people", day)] if at_once > given_load.technicians else []
    return found


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(loads_())
def test_every_bound_holds_and_the_plan_is_never_worse_than_by_due_date(given_load):
    plain = by_due_date(given_load)
    found = improve(given_load, 2.0)
    for ledger in (plain, found.ledger):
        assert broken(given_load, ledger.days) == []
        assert overlaps(given_load, ledger) == []
    before, after = score(given_load, plain.days), score(given_load, found.ledger.days)
    assert after.missed <= before.missed
    assert after.total <= before.total
    assert found.bound <= after.cost + 1e-6 <= before.cost + 2e-6


def test_every_bound_holds_in_a_plan_of_many_blocks():
    big = hospital(60, 12, minutes=300)
    found = improve(big, 4.0)
    before, after = score(big, by_due_date(big).days), score(big, found.ledger.days)
    assert broken(big, found.ledger.days) == []
    assert overlaps(big, found.ledger) == []
    assert (after.missed <= before.missed, after.total <= before.total) == (True, True)
    assert 0 < found.bound <= after.cost < before.cost


def brute_force(given_load):
    """The least points of all plans that hold every bound and are no worse than by due date; all are tried."""
    plain = score(given_load, by_due_date(given_load).days)
    best = plain.cost
    for days in product(*((*one.days, None) for one in given_load.jobs)):
        figures = score(given_load, list(days))
        good = figures.missed <= plain.missed and figures.total <= plain.total and figures.cost < best
        if good and _holds(given_load, days):
            best = figures.cost
    return best


def _holds(given_load, days):
    ledger = Ledger(given_load)
    for place, day in enumerate(days):
        if day is not None:
            ledger.put(place, day)
    return broken(given_load, days) == [] and overlaps(given_load, ledger) == []


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(loads_(jobs=4, weeks=1))
def test_small_plans_are_within_two_percent_of_the_best_of_all(given_load):
    if given_load.placed:
        return
    found = improve(given_load, 5.0)
    assert score(given_load, found.ledger.days).cost <= 1.02 * brute_force(given_load) + 1e-6


def test_tasks_of_a_unit_go_together_and_a_ward_is_walked_to_once():
    jobs = [job(task="a", due=2), job(task="b", due=4), job("finch", due=3, task="a")]
    found = improve(load(jobs), 5.0)
    assert found.proven
    figures = score(load(jobs), found.ledger.days)
    assert (figures.missed, figures.visits, figures.trips) == (0, 2, 1)


@pytest.mark.parametrize(("stock", "day"), [(1, 4), (0, 7)])
def test_a_part_that_is_not_in_stock_is_waited_for(stock, day):
    one = load([job(due=4, days=workdays(2), parts=(("felt", 1),), early_cost=1)], 2, shelves={"felt": Shelf(stock, 6)})
    assert improve(one, 5.0).ledger.days == [day]


def test_a_visit_more_is_made_for_a_due_date_more_but_not_to_waste_less():
    kept = load([job("finch", due=1, days=(0, 1), minutes=40), job(due=1, days=(1,), minutes=40)], minutes=60)
    assert by_due_date(kept).days == [1, None]
    assert improve(kept, 5.0).ledger.days == [0, 1]
    early = load([job(task="a", due=0, days=(0,)), job(task="b", due=4, early_cost=10)])
    assert improve(early, 5.0).ledger.days == [0, 0]


def test_cylinders_go_to_the_work_that_matters_most():
    jobs = [job(due=2, shortfall_lpm=2), job("finch", due=3, shortfall_lpm=2, weight=2)]  # 80 L each
    days = improve(load(jobs, gas_l={"newborn": 100.0}), 5.0).ledger.days
    assert (days[0] is None, days[1] is not None) == (True, True)
