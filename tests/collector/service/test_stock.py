"""Stock is what the site file said and what was written down since."""

from collector.rules.entries import PART_MOVED, TASK_DONE, WORK_CLOSED, WORK_OPENED, JournalRow
from collector.rules.limits import DAY
from collector.service.stock import ORDERED, RECEIVED, stock_of, unknown_parts
from collector.site import parse_site

SITE = parse_site("""
[facility]
id = "lakeside"
[[part]]
id = "intake-filter"
name = "Intake filter"
stock = 6
lead_days = 20
[[part]]
id = "valve"
stock = 1
[[model]]
id = "five"
[[model.task]]
id = "filter"
every_days = 90
parts = ["Intake filter"]
""")
FILTER = SITE.parts[0]


def rows(*bodies):
    """Journal rows, an hour apart."""
    return [JournalRow(seq=n + 1, recorded_ms=n * 3_600_000, at_ms=n * 3_600_000, kind=kind, body=body)
            for n, (kind, body) in enumerate(bodies)]  # fmt: skip


def moved(part, by, why=""):
    return PART_MOVED, {"part": part, "by": by, "why": why}


def test_without_rows_the_site_file_says_it():
    assert {part: stock.have for part, stock in stock_of(SITE, []).items()} == {"intake-filter": 6, "valve": 1}


def test_what_was_used_is_gone_and_what_came_is_there():
    written = rows(
        (TASK_DONE, {"task": "filter", "outcome": "done", "parts": {"Intake filter": 2}}),
        moved("intake-filter", 5, "found in a drawer"), moved("valve", -1, "broken in the store"),
    )  # fmt: skip
    stocks = stock_of(SITE, written)
    assert (stocks["intake-filter"].have, stocks["valve"].have) == (9, 0)
    assert (stocks["intake-filter"].used, stocks["intake-filter"].unplanned) == (2, 0)


def test_an_order_is_on_its_way_until_it_has_come_in_full():
    written = rows(moved("intake-filter", 10, ORDERED), moved("intake-filter", 4, RECEIVED))
    stock = stock_of(SITE, written)["intake-filter"]
    assert (stock.have, stock.on_the_way(FILTER, DAY), stock.overdue(FILTER, DAY)) == (10, 6, 0)


def test_an_order_of_twice_the_lead_time_ago_is_not_counted_on():
    stock = stock_of(SITE, rows(moved("intake-filter", 10, ORDERED)))["intake-filter"]
    assert (stock.on_the_way(FILTER, 40 * DAY), stock.overdue(FILTER, 40 * DAY)) == (10, 0)
    assert (stock.on_the_way(FILTER, 41 * DAY), stock.overdue(FILTER, 41 * DAY)) == (0, 10)


def test_parts_of_a_failure_are_told_from_parts_of_planned_work():
    written = rows(
        (WORK_OPENED, {"work": "w1", "why": "low output", "condition": "purity-red"}),
        (WORK_CLOSED, {"work": "w1", "fault_found": "", "parts": {"valve": 1}}),
        (WORK_OPENED, {"work": "w2", "why": "task due", "condition": "service-due"}),
        (WORK_CLOSED, {"work": "w2", "fault_found": "none", "parts": {"valve": 1}}),
        (WORK_OPENED, {"work": "w3", "why": "noisy"}),
        (WORK_CLOSED, {"work": "w3", "fault_found": "cracked seat", "parts": {"valve": 1}}),
    )
    stock = stock_of(SITE, written)["valve"]
    assert (stock.have, stock.used, stock.unplanned) == (-2, 3, 2)


def test_rows_that_make_no_sense_change_nothing():
    written = rows(
        moved("valve", "two"), moved("no-such", 3), (TASK_DONE, {"parts": ["valve"]}),
        (TASK_DONE, {"parts": {"valve": -4, "intake-filter": "x", "no-such": 1}}),
    )  # fmt: skip
    assert stock_of(SITE, written) == stock_of(SITE, [])


def test_parts_that_nobody_can_order_are_named():
    written = rows((TASK_DONE, {"parts": {"no-such": 1}}), moved("valve", 1))
    assert unknown_parts(SITE, written) == ["no-such"]
