"""What counts as one failure, when it ends, and whose it is."""

import pytest

from collector.rules import entries
from collector.rules.limits import HOUR
from collector.service.episodes import episodes
from collector.service.failures import answered, failures_of, mtbf, repair_times
from tests.collector.service.journal_rows import Rows


def found(rows, unit="u1"):
    """A unit's failures."""
    return failures_of(unit, episodes(rows).get(unit, []))


def spans(rows):
    """Failures as hours from and to."""
    return [(f.from_ms / HOUR, None if f.to_ms is None else f.to_ms / HOUR) for f in found(rows)]


def test_low_output_is_a_failure_from_raised_to_cleared():
    (failure,) = found(Rows().failed(10, 12, cause="sieve-worn"))
    assert (failure.from_ms, failure.hours, failure.what) == (10 * HOUR, 2.0, ("purity-red",))
    assert (failure.cause, failure.repaired, failure.repeat) == ("sieve-worn", False, False)


@pytest.mark.parametrize("cause", ["flow-above-rated", "supply-voltage-low", "sensor-fault"])
def test_what_the_unit_is_not_to_blame_for_is_none(cause):
    assert found(Rows().event(10, "raised").event(11, "updated", cause=cause).event(12, "cleared", cause=cause)) == []


def test_other_conditions_and_service_of_a_healthy_unit_are_none():
    rows = Rows().failed(1, 3, condition="purity-amber").failed(4, 9, condition="readings-absent")
    rows.out(20, 24).work(40, 44, fault_found="none").work(50, 51)
    assert found(rows) == []


def test_what_overlaps_is_one_failure_until_the_unit_is_back():
    rows = Rows().event(10, "raised").event(10.2, "raised", "purity-shutdown").out(11)
    rows.event(12, "cleared").event(12, "cleared", "purity-shutdown").add(40, entries.RETURN_TO_SERVICE)
    (failure,) = found(rows)
    assert (failure.from_ms, failure.hours, failure.repaired) == (10 * HOUR, 30.0, True)
    assert failure.what == ("purity-red", "purity-shutdown")


def test_a_unit_that_hangs_about_its_limit_fails_once():
    assert spans(Rows().failed(10, 11).failed(20, 21).failed(40, 41)) == [(10, 41)]
    assert spans(Rows().failed(10, 11).failed(35.1, 36)) == [(10, 11), (35.1, 36)]


def test_failing_again_an_hour_after_the_repair_is_a_failure_of_its_own_and_a_repeat():
    rows = Rows().event(10, "raised").out(11).event(12, "cleared").add(20, entries.RETURN_TO_SERVICE).failed(21, 22)
    assert [(f.from_ms // HOUR, f.repeat) for f in found(rows)] == [(10, False), (21, True)]


def test_failing_again_after_thirty_days_is_no_repeat_any_more():
    first = Rows().failed(10, 30).out(11, 20)
    assert [f.repeat for f in found(Rows(first).failed(30 + 30 * 24, None))] == [False, True]
    assert [f.repeat for f in found(Rows(first).failed(30.1 + 30 * 24, None))] == [False, False]


def test_failing_again_without_a_repair_between_is_no_repeat():
    assert [f.repeat for f in found(Rows().failed(10, 11).failed(100, 101))] == [False, False]


def test_a_fault_found_at_work_is_a_failure_though_no_condition_told_it():
    (failure,) = found(Rows().work(10, 16, fault_found="cracked valve seat"))
    assert (failure.hours, failure.what, failure.cause, failure.repaired) == (6.0, ("work",), "valve-fault", True)


def test_planned_work_in_which_a_unit_fails_begins_with_the_failure():
    assert spans(Rows().out(10).failed(14, 15).add(20, entries.RETURN_TO_SERVICE)) == [(14, 20)]


def test_an_order_that_was_forgotten_keeps_no_unit_down_and_hides_no_failure():
    assert spans(Rows().work(1).failed(100, 101).failed(300, 302)) == [(100, 101), (300, 302)]


def test_what_lasts_has_no_end_and_a_unit_in_store_did_not_fail():
    assert spans(Rows().failed(10)) == [(10, None)]
    assert spans(Rows().failed(10).out(11)) == [(10, None)]
    assert found(Rows().out(10, **{"for": "store"})) == []


def test_another_units_rows_are_another_units():
    rows = Rows().event(10, "raised").event(11, "cleared", unit="u2").event(12, "cleared")
    assert (spans(rows), found(rows, "u2")) == ([(10, 12)], [])


def test_answered_is_the_first_that_somebody_did_about_it():
    rows = Rows().add(9, entries.ACKNOWLEDGE).event(10, "raised").add(10.5, entries.ACKNOWLEDGE).out(11)
    rows.event(12, "cleared").add(20, entries.RETURN_TO_SERVICE).failed(100)
    first, second = answered(found(rows), rows)
    assert (first.answer_min, second.answer_min) == (30.0, None)


def test_time_to_repair_is_of_what_was_repaired_and_what_waits_is_counted_apart():
    rows = Rows().event(10, "raised").out(11).event(12, "cleared").add(14, entries.RETURN_TO_SERVICE)
    rows.event(100, "raised").out(101).event(102, "cleared").add(120, entries.RETURN_TO_SERVICE)
    rows.failed(300, 301).failed(400)
    times = repair_times(answered(found(rows), rows))
    assert (times.repaired, times.median_h, times.mean_h, times.waiting) == (2, 12.0, 12.0, 1)
    assert times.answer_median_min == 60.0


def test_without_failures_or_hours_nothing_is_claimed():
    assert repair_times([]).median_h is None
    nothing = mtbf(0.0, 0)
    assert (nothing.mean_h, nothing.low_h, nothing.high_h) == (None, None, None)


def test_limits_of_the_mtbf_lie_about_it_and_close_in_with_more_failures():
    widths = []
    for found in (mtbf(1000, 2), mtbf(100_000, 200)):
        assert found.low_h is not None
        assert found.mean_h is not None
        assert found.high_h is not None
        assert found.low_h < found.mean_h < found.high_h
        widths.append(found.high_h / found.low_h)
    assert widths[1] < widths[0]
