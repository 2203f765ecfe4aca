"""From the journal to this month's order."""

import pytest

from collector.rules import entries
from collector.rules.limits import DAY, HOUR
from collector.service.due import due_tasks
from collector.service.order import month_order, planned_uses
from collector.service.record import record_of
from collector.site import parse_site
from tests.collector.service.journal_rows import Rows

SITE = parse_site("""
[facility]
id = "l"
currency = "D"
[[model]]
id = "five"
[[model.task]]
id = "felt"
every_days = 20
parts = ["felt", "felt", "ring"]
[[model.task]]
id = "compressor"
every_h = 240
every_days = 3000
parts = ["kit"]
[[model.task]]
id = "valves"
condition = "valve-fault"
parts = ["valve"]
[[unit]]
id = "u1"
model = "five"
[[part]]
id = "felt"
stock = 4
lead_days = 30
cost = 2.0
[[part]]
id = "ring"
lead_days = 0
[[part]]
id = "kit"
[[part]]
id = "valve"
""")
DAYS = 60
NOW = DAYS * DAY


def used(unit_h_per_day=12.0):
    """Two months in which a unit ran twelve hours a day and everything was just done."""
    rows = Rows()
    for day in range(1, DAYS):
        rows.hours(day, day * unit_h_per_day)
    for task in ("felt", "compressor"):
        rows.add(DAYS * 24 - 1, entries.TASK_DONE, task=task, outcome="done", parts={}, meter_h=None)
    return rows


def planned(rows, now_ms=NOW):
    """Planned uses by part: days ahead of p50, pieces, days of the interval."""
    record = record_of(SITE, rows)
    found = planned_uses(SITE, due_tasks(SITE, rows, {}, now_ms), record, now_ms)
    return {use.part: ((use.p50_ms - now_ms) / DAY, use.pieces, use.every_days) for use in found}


def test_a_task_takes_each_part_as_often_as_it_names_it_and_comes_again():
    found = planned(used())
    assert found["felt"] == pytest.approx((20, 2, 20), abs=0.1)
    assert found["ring"] == pytest.approx((20, 1, 20), abs=0.1)
    assert "valve" not in found


def test_a_task_by_hours_comes_again_as_the_units_own_use_makes_it():
    days, pieces, every_days = planned(used())["kit"]
    assert (days, pieces, every_days) == (pytest.approx(20, abs=1), 1, pytest.approx(20, abs=0.5))


def test_a_sign_asks_for_its_part_at_once():
    rows = used().event(DAYS * 24 - 2, "raised", "capacity-falling", cause="valve-fault")
    days, pieces, every_days = planned(rows)["valve"]
    assert days <= 0
    assert (pieces, every_days) == (1, 0.0)


def test_the_order_counts_three_occasions_of_two_pieces_and_what_is_in_stock():
    order = month_order(SITE, used(), {}, NOW)
    felt = next(need for need in order.needs if need.part == "felt")
    # Due after 20, 40 and 60 days, the last just now; lead time and month are 60.
    assert felt.planned == pytest.approx(6.0, abs=0.01)
    assert felt.order == felt.up_to - 4 >= 2
    assert order.cost == pytest.approx(sum(need.cost for need in order.needs))
    assert (order.currency, order.unknown) == ("D", ())


def test_what_was_ordered_yesterday_is_not_ordered_again():
    first = next(need for need in month_order(SITE, used(), {}, NOW).needs if need.part == "felt")
    rows = used().add(DAYS * 24 - 0.5, entries.PART_MOVED, "", part="felt", by=first.order, why="Ordered")
    again = next(need for need in month_order(SITE, rows, {}, NOW).needs if need.part == "felt")
    assert (again.have, again.on_the_way, again.order) == (4, first.order, 0)


def test_parts_of_default_tasks_that_the_site_does_not_have_are_named():
    site = parse_site('[facility]\nid = "l"\n[[unit]]\nid = "u1"')
    rows = Rows().add(1, entries.TASK_DONE, task="intake-filter", outcome="done", parts={"felt": 1})
    assert "intake filter" in month_order(site, rows, {}, 24 * HOUR).unknown
    assert "felt" in month_order(site, rows, {}, 24 * HOUR).unknown
