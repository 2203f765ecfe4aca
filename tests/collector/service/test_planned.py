"""Planned maintenance of a month: what fell due, and what was on time."""

import pytest

from collector.rules.entries import COULD_NOT_LOCATE, PUT_OFF
from collector.service.planned import planned_lines
from collector.service.report_lines import LATE, ON_TIME, OPEN
from tests.collector.service.months import at, data, done, journal, proof


def lines(*found, unit="a", task="filter"):
    made = data(journal(*found))
    said = planned_lines(made.site, made.month, made.rows, made.units)
    return [(line.due[5:], line.done[5:], line.outcome) for line in said if (line.unit, line.task) == (unit, task)]


def test_each_time_a_task_falls_due_counts_once() -> None:
    # Done on 25 September, every ten days: due on 5, 15 and 25 October.
    said = lines(done(at(-5), "a"), done(at(5), "a"), done(at(15), "a"), done(at(25), "a"))
    assert said == [("10-05", "10-05", ON_TIME), ("10-15", "10-15", ON_TIME), ("10-25", "10-25", ON_TIME)]


def test_on_time_is_up_to_a_tenth_of_the_interval_late() -> None:
    assert lines(done(at(-5), "a"), done(at(6), "a"), done(at(26, 23), "a"))[0] == ("10-05", "10-06", ON_TIME)
    assert lines(done(at(-5), "a"), done(at(6, 0.1), "a"))[0] == ("10-05", "10-06", LATE)


def test_what_was_overdue_when_the_month_began_is_due_in_it() -> None:
    assert lines(done(at(-30), "a"), done(at(20), "a"), done(at(29), "a")) == [
        ("09-10", "10-20", LATE),
        ("10-30", "10-29", ON_TIME),
    ]


@pytest.mark.parametrize(("outcome", "said"), [(COULD_NOT_LOCATE, COULD_NOT_LOCATE), (PUT_OFF, PUT_OFF), (None, OPEN)])
def test_what_is_not_done_counts_with_its_outcome(outcome, said) -> None:
    more = [done(at(12), "a", outcome=outcome)] if outcome else []
    assert lines(done(at(-5), "a"), *more) == [("10-05", "", said)]


def test_what_falls_due_at_the_months_end_is_the_next_months_until_its_grace_is_over() -> None:
    assert lines(done(at(-5), "a"), done(at(5), "a"), done(at(15), "a"), done(at(21.5), "a")) == [
        ("10-05", "10-05", ON_TIME),
        ("10-15", "10-15", ON_TIME),
        ("10-25", "10-21", ON_TIME),
    ]


def test_a_task_done_long_before_it_is_due_is_not_counted() -> None:
    assert lines(done(at(-5), "a"), done(at(5), "a"), done(at(14), "a"), done(at(23), "a"), done(at(30), "a"))[3:] == []


def test_a_check_that_passed_is_the_check_done_and_one_that_failed_is_not() -> None:
    assert lines(proof(at(-20), "a"), proof(at(10), "a"), task="check") == [("10-10", "10-10", ON_TIME)]
    ((due, when, outcome),) = lines(proof(at(-20), "a"), proof(at(9), "a", "fail"), task="check")
    assert (due, when, outcome) == ("10-09", "", OPEN)


def test_a_unit_in_store_does_not_count() -> None:
    assert lines(done(at(-30), "c"), unit="c") == []


def test_what_happened_after_the_month_changes_nothing() -> None:
    before = lines(done(at(-5), "a"))
    assert lines(done(at(-5), "a"), done(at(35), "a")) == before == [("10-05", "", OPEN)]
