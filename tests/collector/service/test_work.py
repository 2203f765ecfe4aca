"""Work orders from their rows."""

from datetime import date
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from collector.rules import entries
from collector.service.gate import may_return, standings
from collector.service.work import new_work_id, open_orders, order_fields, work_orders
from tests.collector.service.service_rows import NOW, SITE, Book

CLOSING: dict[str, Any] = {
    "fault_found": "torn seal", "cause": "leak", "action": "seal changed", "parts": {"filter": 1}, "minutes": 40,
}  # fmt: skip


def test_an_order_is_opened_proven_and_closed():
    book = Book()
    book.add(entries.WORK_OPENED, work="w1", why="output low", condition="purity-amber", raised_ms=NOW)
    book.proof(70.0, "fail", work="w1", as_found_pct=68.0)
    book.proof(93.0, work="w1")
    assert [order.work for order in open_orders(work_orders(book.rows))] == ["w1"]
    book.add(entries.WORK_CLOSED, work="w1", who="M. Example", **CLOSING)
    order = work_orders(book.rows)["w1"]
    assert (order.unit, order.why, order.condition, order.raised_ms) == ("u1", "output low", "purity-amber", NOW)
    assert order.last_proof is not None
    assert (order.as_found_pct, order.last_proof.as_left_pct, order.last_proof.passed) == (68.0, 93.0, True)
    assert (order.cause, order.parts, order.minutes, order.closed_by) == ("leak", {"filter": 1}, 40, "M. Example")
    assert order_fields(order)["state"] == "closed"
    assert open_orders(work_orders(book.rows)) == []


def test_what_does_not_fit_changes_nothing():
    book = Book()
    book.add(entries.WORK_CLOSED, work="w1", **CLOSING)
    book.add(entries.WORK_OPENED, work="w1", why="first")
    book.add(entries.WORK_OPENED, work="w1", why="second")
    book.add(entries.WORK_CLOSED, "u2", work="w1", **CLOSING)
    book.add(entries.WORK_OPENED, work="", why="no id")
    assert [(order.why, order.is_open) for order in work_orders(book.rows).values()] == [("first", True)]


def test_ids_are_the_unit_the_day_and_a_number():
    assert new_work_id("u1", date(2026, 9, 21), []) == "u1-20260921-1"
    assert new_work_id("u1", date(2026, 9, 21), ["u1-20260921-1", "u1-20260921-3"]) == "u1-20260921-2"


ANY_ROW = st.tuples(st.sampled_from(("out", "back", "open", "close", "pass", "fail", "task")),
                    st.sampled_from(("u1", "u2")), st.sampled_from(("w1", "w2", "")))  # fmt: skip


@given(st.lists(ANY_ROW, max_size=25))
def test_whatever_was_written_down_a_failed_check_is_never_the_way_back(happened):
    book = Book()
    for what, unit, work in happened:
        if what in ("pass", "fail"):
            book.proof(result=what, unit=unit, work=work)
        else:
            kind = {"out": entries.OUT_OF_SERVICE, "back": entries.RETURN_TO_SERVICE, "open": entries.WORK_OPENED,
                    "close": entries.WORK_CLOSED, "task": entries.TASK_DONE}[what]  # fmt: skip
            book.add(kind, unit, work=work, task="intake-filter", outcome="done")
    for unit in ("u1", "u2"):
        gate = may_return(standings(SITE, book.rows).get(unit), NOW)
        own = [row for row in book.rows if row.unit == unit]
        doubts = [row.seq for row in own if row.kind in (entries.OUT_OF_SERVICE, entries.TASK_DONE)]
        checks = [row for row in own if row.kind == entries.PURITY_PROOF]
        if gate.may:
            assert checks, "nothing opens the way but a check"
            assert checks[-1].body["result"] == "pass"
            assert checks[-1].seq > max(doubts, default=0)
