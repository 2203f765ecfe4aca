"""The way back into service: what opens it, what shuts it, and what stays due."""

from typing import Any

import pytest

from collector.rules import entries
from collector.service.gate import may_return, proofs_due, standings
from tests.collector.service.service_rows import DAY, NOW, SITE, Book

FOR_REPAIR: dict[str, Any] = {"for": "repair"}
FOR_STORE: dict[str, Any] = {"for": "store"}


def gate_of(book, unit="u1"):
    return may_return(standings(SITE, book.rows).get(unit), NOW)


def test_a_unit_out_for_repair_needs_a_check_that_came_after_and_passed():
    book = Book()
    book.proof()
    book.add(entries.OUT_OF_SERVICE, reason="weak", **FOR_REPAIR)
    assert gate_of(book).why == "no passed check since it was taken out of service"
    book.proof(80.0, "fail")
    assert gate_of(book).why == "no passed check since a check failed"
    seq = book.proof()
    assert (gate_of(book).may, gate_of(book).proof.seq) == (True, seq)


def test_a_row_that_does_not_say_what_for_counts_as_a_repair():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="odd noise")
    assert not gate_of(book).may


def test_a_check_of_another_unit_opens_nothing():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="weak")
    book.proof(unit="u2")
    assert not gate_of(book).may


def test_a_check_dated_later_but_written_before_opens_nothing():
    book = Book()
    book.proof(at_ms=NOW + 5 * DAY)
    book.add(entries.OUT_OF_SERVICE, reason="weak", at_ms=NOW)
    assert not gate_of(book).may


def test_an_open_order_keeps_the_unit_out_though_a_check_passed():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="weak")
    book.add(entries.WORK_OPENED, work="w1", why="weak")
    book.proof(work="w1")
    assert gate_of(book).why == "its work order is open (w1)"
    book.add(entries.WORK_CLOSED, work="w1", fault_found="valve", cause="valve-fault", action="changed")
    assert gate_of(book).may
    book.add(entries.WORK_OPENED, work="w1", why="again")
    assert gate_of(book).may, "an id is used once"


@pytest.mark.parametrize(
    ("task", "outcome", "may"),
    [("intake-filter", "done", False), ("intake-filter", "put-off", True), ("cabinet-filter", "done", True),
     ("alarm-test", "done", True),
     ("purity-check", "done", True), ("unknown", "done", True)],
)  # fmt: skip
def test_a_task_that_takes_the_unit_out_asks_for_a_check_anew(task, outcome, may):
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="weak")
    book.proof()
    book.add(entries.TASK_DONE, task=task, outcome=outcome)
    assert gate_of(book).may is may


def test_a_unit_that_was_not_needed_returns_freely_for_a_month_only():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, at_ms=NOW - 29 * DAY, reason="ward is half empty", **FOR_STORE)
    assert gate_of(book).may
    long = Book()
    long.add(entries.OUT_OF_SERVICE, at_ms=NOW - 31 * DAY, reason="ward is half empty", **FOR_STORE)
    assert gate_of(long).why == "no passed check within 30 days"
    long.proof(at_ms=NOW - DAY)
    assert gate_of(long).may


def test_calling_it_store_afterwards_does_not_spare_the_check():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="weak", **FOR_REPAIR)
    book.add(entries.OUT_OF_SERVICE, reason="not needed", **FOR_STORE)
    assert not gate_of(book).may


def test_a_unit_that_nobody_ever_checked_does_not_begin():
    assert gate_of(Book()).why == "it has never been checked"


def test_an_override_leaves_the_check_due():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, reason="weak", at_ms=NOW - DAY)
    assert [(one.in_service, one.why) for one in proofs_due(SITE, book.rows)] == [
        (False, "it was taken out of service")
    ]
    book.add(entries.RETURN_TO_SERVICE, reason="no other", override=True)
    assert [(one.in_service, one.why, one.since_ms) for one in proofs_due(SITE, book.rows)] == [
        (True, "it was taken out of service, returned without a check", NOW - DAY)
    ]
    book.proof()
    assert proofs_due(SITE, book.rows) == []


def test_units_in_service_are_listed_first():
    book = Book()
    book.add(entries.OUT_OF_SERVICE, "u2", reason="weak")
    book.add(entries.WORK_OPENED, "u1", work="w1", why="noise")
    assert [(one.unit, one.work) for one in proofs_due(SITE, book.rows)] == [("u1", "w1"), ("u2", "")]
    assert [one.in_service for one in proofs_due(SITE, book.rows, removed={"u1"})] == [False, False]


@pytest.mark.parametrize("touched", [False, True])
def test_a_unit_taken_out_in_error_needs_what_it_needed_before_and_one_that_was_touched_its_check(touched):
    book = Book()
    book.proof()
    seq = book.add(entries.OUT_OF_SERVICE, reason="the wrong one", **FOR_REPAIR)
    if touched:
        book.add(entries.WORK_OPENED, work="W-1", why="looked into")
        book.add(entries.WORK_CLOSED, work="W-1")
    book.add(entries.RETURN_TO_SERVICE, undoes=seq)
    standing = standings(SITE, book.rows)["u1"]
    assert (standing.out_ms, standing.overridden) == (None, touched)
    assert (standing.need is not None) == touched
    assert [due.unit for due in proofs_due(SITE, book.rows)] == ["u1"] * touched


def test_an_undo_of_another_row_and_one_that_comes_twice_open_nothing():
    book = Book()
    first = book.add(entries.OUT_OF_SERVICE, reason="weak", **FOR_REPAIR)
    book.add(entries.RETURN_TO_SERVICE, undoes=first + 7)
    assert standings(SITE, book.rows)["u1"].overridden
    book.add(entries.RETURN_TO_SERVICE, undoes=first)
    assert standings(SITE, book.rows)["u1"].overridden
