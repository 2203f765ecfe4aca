"""From a site, what is due and what people have set to a plan, with its reasons."""

from datetime import UTC, date, datetime, timedelta

import pytest

from collector.rules.capacity.now import CapacityNow
from collector.rules.entries import VISIT, JournalRow
from collector.rules.limits import DAY
from collector.rules.unitrow import OFF, RUNNING, SILENT, UnitRow
from collector.service.agreed import Agreed, agreed_visits
from collector.service.due import DueTask, Moments
from collector.service.jobs import Span, workload
from collector.service.supply import ward_supplies
from collector.service.visits import plan_visits
from collector.site import parse_site

FIRST = date(2026, 11, 30)  # a Monday
NOW = int(datetime(2026, 11, 29, 12, tzinfo=UTC).timestamp() * 1000)
SITE = """
[facility]
id = "lakeside"
technician_h_per_day = 2
[[ward]]
id = "newborn"
name = "Newborn"
{ward}
[[model]]
id = "five"
[[model.task]]
id = "check"
name = "Check"
every_days = 14
minutes = 30
[[model.task]]
id = "filter"
name = "Filter"
every_h = 4400
minutes = 20
parts = ["Felt"]
[[model.task]]
id = "rebuild"
name = "Rebuild"
every_h = 15000
minutes = 600
[[model.task]]
id = "wash"
every_days = 7
by = "ward"
[[part]]
id = "felt"
name = "Felt"
stock = 0
lead_days = 3
[[unit]]
id = "wren"
model = "five"
ward = "newborn"
[[unit]]
id = "finch"
model = "five"
ward = "newborn"
"""


def site(ward=""):
    return parse_site(SITE.format(ward=ward))


def due(task="check", days=0, unit="wren", **fields):
    """A task of a unit that is due so many days after the plan's first."""
    at = int(datetime.combine(FIRST + timedelta(days=days), datetime.min.time(), UTC).timestamp() * 1000) + DAY // 2
    one = {"unit": unit, "ward": "newborn", "task": task, "title": task, "why": "calendar",
           "due_ms": Moments(at, at, at), "overdue": days < 0, **fields}  # fmt: skip
    return DueTask(**one)


def running(unit, flow, **fields):
    return UnitRow(unit=unit, phase=RUNNING, flow_lpm=flow, purity_pct=93.0, **fields)


def plan(*dues, rows=(), gas=None, stock=None, agreed=(), weeks=2, ward=""):
    at = site(ward)
    supply = ward_supplies(at, {row.unit: row for row in rows}, NOW, gas or {})
    return plan_visits(at, dues, supply, stock or {}, FIRST, weeks, agreed, seconds=5.0)


def set_row(state="locked", day="2026-12-02", seq=1, visit="v1", tasks=({"unit": "wren", "task": "check"},), **fields):
    body = {"visit": visit, "day": day, "tasks": list(tasks), "state": state, "why": "", **fields}
    return JournalRow(at_ms=NOW, kind=VISIT, body=body, seq=seq, recorded_ms=NOW)


def test_a_calendar_task_comes_again_and_the_wards_own_is_left_out():
    found = plan(due(days=1), due("wash", by="ward"), weeks=5)
    assert [(visit.unit, (visit.day - FIRST).days) for visit in found.visits] == [
        ("wren", 1), ("wren", 15), ("wren", 29)]  # fmt: skip
    assert (found.score.missed, found.optimal) == (0, True)


def test_a_unit_that_its_ward_cannot_spare_is_left_with_the_figures():
    found = plan(due(), rows=[running("wren", 4.0), running("finch", 1.0)])
    (waits,) = found.deferred
    assert (found.visits, waits.day, waits.reason) == ((), None, "cannot-spare")
    assert "Newborn cannot spare it: 5.0 L/min in use, the other units are known to hold 0.0" in waits.said


@pytest.mark.parametrize(
    ("finch", "gas", "visits"),
    [
        ({"proven_lpm": 5.0, "proven_ms": NOW - DAY}, 0, 1),
        ({"proven_lpm": 5.0, "proven_ms": NOW - 31 * DAY}, 0, 0),  # proven too long ago
        ({"proven_lpm": 4.9, "proven_ms": NOW - DAY}, 0, 0),
        ({"proven_lpm": 4.9, "proven_ms": NOW - DAY}, 0.1 * 40, 1),  # 30 min and 10 for changing over
        ({"proven_lpm": 4.9, "proven_ms": NOW - DAY}, 0.1 * 39, 0),
    ],
)
def test_the_rest_of_the_ward_and_its_cylinders_must_carry_the_flow_in_use(finch, gas, visits):
    rows = [running("wren", 4.0), running("finch", 1.0, **finch)]
    assert len(plan(due(), rows=rows, gas={"newborn": gas}).visits) == visits


def test_a_unit_that_gives_nothing_can_be_taken_from_a_ward_that_is_short():
    rows = [UnitRow(unit="wren", phase=OFF), running("finch", 4.0)]
    assert len(plan(due(), rows=rows).visits) == 1


def test_a_silent_unit_holds_nothing_for_others_and_may_still_be_needed():
    silent = UnitRow(unit="finch", phase=SILENT, flow_lpm=3.0, proven_lpm=5.0, proven_ms=NOW)
    rows = {"wren": running("wren", 1.0, proven_lpm=5.0, proven_ms=NOW), "finch": silent}
    supply = ward_supplies(site(), rows, NOW, {})["newborn"]
    assert (supply.demand_lpm, supply.rest_lpm("wren"), supply.shortfall_lpm("wren")) == (4.0, 0.0, 4.0)


def test_where_units_are_not_heard_the_ward_is_to_be_asked():
    (visit,) = plan(due(), rows=[UnitRow(unit="wren", phase=OFF)]).visits
    assert visit.cautions == (
        "what its ward uses is not all known, nothing is heard of finch: ask the ward first",)  # fmt: skip
    rows = [UnitRow(unit=unit, phase=OFF) for unit in ("wren", "finch")]
    assert plan(due(), rows=rows).visits[0].cautions == ()


def test_an_estimate_goes_before_what_was_proven_until_it_is_a_day_old():
    for age, holds in ((DAY, 2.0), (DAY + 1, 4.0)):
        now = CapacityNow(at_ms=NOW - age, p05_lpm=2, p50_lpm=2, p95_lpm=2, seen=True, good_to_lpm=2.0)
        row = running("wren", 1.0, proven_lpm=4.0, proven_ms=NOW, capacity=now)
        assert ward_supplies(site(), {"wren": row}, NOW, {})["newborn"].holds_lpm == {"wren": holds}


def test_a_part_out_of_stock_is_ordered_and_waited_for():
    found = plan(due("filter", days=1, parts=("Felt",)))
    (waits,) = found.deferred
    assert (found.visits[0].day, waits.reason, found.orders) == (FIRST + timedelta(days=3), "parts", {"felt": 1})
    assert waits.said == "Felt: 0 in stock, all planned for; more by 2026-12-03 if ordered now"
    assert plan(due("filter", days=1, parts=("Felt",)), stock={"felt": 1}).deferred == ()


def test_what_is_longer_than_a_day_is_said():
    (waits,) = plan(due("rebuild")).deferred
    assert (waits.reason, waits.day) == ("too-long", None)


def test_hours_that_are_used_up_are_said():
    assert plan(due(minutes=50), due(unit="finch", minutes=50)).deferred == ()
    (waits,) = plan(due(minutes=51), due(unit="finch", minutes=50)).deferred
    assert (waits.reason, waits.day) == ("hours", FIRST + timedelta(days=1))


def test_quiet_hours_are_kept():
    (visit,) = plan(due(), ward='quiet_hours = "07:00-13:00"').visits
    assert visit.start_min == 13 * 60
    (waits,) = plan(due(), ward='quiet_hours = "07:30-07:00"').deferred
    assert waits.reason == "too-long"


def test_travel_to_a_campus_is_taken_off_the_day():
    far = 'campus = "annexe"\ntravel_min = 70'
    assert [one.reason for one in plan(due(minutes=50), ward=far).deferred] == ["hours"]
    assert plan(due(minutes=40), ward=far).score.journeys == 1


def test_the_last_word_on_a_visit_counts_and_what_cannot_be_read_is_left_out():
    rows = [set_row(seq=1), set_row("moved", "2026-12-03", seq=2), set_row(day="never", seq=3, visit="v2")]
    assert [(one.visit, one.day, one.state, one.tasks) for one in agreed_visits(rows)] == [
        ("v1", date(2026, 12, 3), "moved", (("wren", "check"),))]  # fmt: skip


def test_a_locked_visit_stands_and_says_what_it_does_not_keep():
    agreed = agreed_visits([set_row(why="the only day")])
    rows = [running("wren", 4.0), UnitRow(unit="finch", phase=OFF)]
    (visit,) = plan(due(), rows=rows, agreed=agreed).visits
    assert (visit.visit, visit.day, visit.state, visit.why) == ("v1", date(2026, 12, 2), "locked", "the only day")
    assert visit.cautions == ("the ward cannot spare this unit",)


def test_a_locked_visit_of_a_task_that_is_not_due_stands_too():
    rows = [running("wren", 4.0), UnitRow(unit="finch", phase=OFF)]
    (visit,) = plan(agreed=agreed_visits([set_row()]), rows=rows).visits
    assert (visit.day, visit.cautions) == (date(2026, 12, 2), ("the ward cannot spare this unit",))


def test_a_cancelled_day_is_not_proposed_again():
    gone = Agreed(visit="v", day=FIRST, tasks=(("wren", "check"),), state="cancelled")
    assert plan(due()).visits[0].day == FIRST
    assert plan(due(), agreed=[gone]).visits[0].day == FIRST + timedelta(days=1)


@pytest.mark.parametrize("unit", ["gone", "wren"])
def test_visits_of_what_the_site_no_longer_has_are_left_out(unit):
    said = Agreed(visit="v", day=FIRST, tasks=((unit, "no-such-task"),), state="locked")
    assert plan(agreed=[said]).visits == ()


def test_what_was_overdue_is_done_first_and_called_so():
    found = plan(due(days=-30))
    assert (found.visits[0].day, found.deferred[0].reason) == (FIRST, "overdue")
    assert found.score.cost < 1000  # what was late before cannot be planned away


def test_a_site_without_anything_due_has_an_empty_plan():
    found = plan()
    assert (found.visits, found.deferred, found.gap, found.optimal) == ((), (), 0.0, True)


def test_weekends_are_free():
    load = workload(site(), [due("filter", days=5)], {}, {}, Span(FIRST, 2))
    assert {(FIRST + timedelta(days=day)).weekday() for day in load.jobs[0].days} <= set(range(5))
