"""Whether a repair worked, from capacity and from checks."""

import pytest

from collector.rules import entries
from collector.rules.capacity.now import CapacityPoint
from collector.service.repaired import judge_repair, span_asked
from collector.service.work import work_orders
from collector.site import Model
from tests.collector.service.service_rows import DAY, HOUR, NOW, Book

MODEL = Model(id="five", rated_flow_lpm=5.0)


def point(days, low, high, seen=True, proven=None):
    return CapacityPoint(unit="u1", hour_ms=NOW + int(days * DAY), p05_lpm=low, p50_lpm=(low + high) / 2, p95_lpm=high,
                         seen=seen, proven_lpm=proven)  # fmt: skip


def order(*, proof=None, closed=True, as_found=None):
    """An order opened at NOW, whose work was done two hours later."""
    book = Book()
    book.add(entries.WORK_OPENED, at_ms=NOW, work="w1", why="weak")
    if proof is not None:
        book.proof(proof, "pass" if proof >= 83 else "fail", at_ms=NOW + 2 * HOUR, work="w1", as_found_pct=as_found)
    if closed:
        book.add(entries.WORK_CLOSED, at_ms=NOW + 3 * HOUR, work="w1", fault_found="x", cause="leak", action="y")
    return work_orders(book.rows)["w1"]


@pytest.mark.parametrize(
    ("after", "verdict", "holds"),
    [((5.2, 6.0), "better", True), ((3.2, 4.2), "same", False), ((2.0, 2.9), "worse", False),
     ((4.0, 5.5), "better", None)],
)  # fmt: skip
def test_what_was_seen_before_and_after_is_compared_as_ranges(after, verdict, holds):
    repair = judge_repair(order(), [point(-2, 3.0, 4.0), point(-1, 3.1, 3.9), point(1, *after)], MODEL, NOW + 9 * DAY)
    assert (repair.verdict, repair.holds_rated) == (verdict, holds)
    assert repair.before[:2] == (3.1, 3.9)


def test_hours_while_the_work_went_on_or_long_ago_do_not_count():
    points = [point(-40, 1.0, 1.5), point(0.02, 5.0, 6.0), point(20, 5.0, 6.0)]
    repair = judge_repair(order(), points, MODEL, NOW + 30 * DAY)
    assert (repair.before.by, repair.after.by, repair.verdict) == ("", "", "not-known")
    assert repair.text == (
        "Capacity before: not known; after: not known. Whether the repair worked cannot be seen yet."
    )


def test_where_capacity_is_not_seen_the_checks_speak():
    repair = judge_repair(order(proof=93.0, as_found=70.0), [], MODEL, NOW + DAY)
    assert (repair.verdict, repair.holds_rated) == ("better", True)
    assert repair.text == (
        "Capacity before: under 5.0 L/min; after: at least 5.0 L/min. Purity at 5 L/min: as found 70 %, as left 93 %. "
        "The repair worked. It holds its rated flow."
    )


def test_a_check_that_the_analyser_cannot_tell_from_amber_says_nothing_of_capacity():
    assert judge_repair(order(proof=85.5, as_found=84.5), [], MODEL, NOW + DAY).after.by == ""


@pytest.mark.parametrize(
    ("found", "left", "verdict"),
    [(84.5, 93.0, "better"), (84.5, 86.6, "better"), (84.5, 86.4, "not-known"), (94.0, 91.9, "worse"),
     (94.0, 94.0, "not-known")],
)  # fmt: skip
def test_where_no_range_decides_purity_at_one_flow_does(found, left, verdict):
    repair = judge_repair(order(proof=left, as_found=found), [], MODEL, NOW + DAY)
    assert repair.verdict == verdict
    assert f"as found {found:g} %, as left {left:g} %" in repair.text


def test_purity_at_different_flows_is_not_compared():
    book = Book()
    book.add(entries.WORK_OPENED, at_ms=NOW, work="w1", why="weak")
    book.proof(84.5, "fail", at_ms=NOW + HOUR, work="w1", as_found_pct=84.5, flow_lpm=5.0)
    book.proof(93.0, at_ms=NOW + 2 * HOUR, work="w1", flow_lpm=4.6)
    assert judge_repair(work_orders(book.rows)["w1"], [], MODEL, NOW + DAY).verdict == "not-known"


def test_what_is_not_seen_has_no_upper_end_and_proves_no_improvement():
    points = [point(-1, 3.0, 8.0, seen=False), point(1, 3.5, 8.0, seen=False, proven=4.0)]
    repair = judge_repair(order(), points, MODEL, NOW + 9 * DAY)
    assert (repair.before.high_lpm, repair.after.low_lpm, repair.verdict) == (None, 4.0, "not-known")


def test_an_open_order_without_a_passed_check_is_not_done_yet():
    repair = judge_repair(order(closed=False), [point(-1, 3.0, 4.0), point(1, 5.0, 6.0)], MODEL, NOW + 2 * DAY)
    assert repair.verdict == "not-known"


def test_the_stretch_of_the_record_that_is_asked_for():
    assert span_asked(order(), NOW + 100 * DAY) == (NOW - 30 * DAY, NOW + 3 * HOUR + 14 * DAY)
