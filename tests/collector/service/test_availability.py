"""Every hour of a unit is up, down or unknown, and nothing is counted twice."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rules.limits import DAY, HOUR
from collector.service.availability import availability_of, together
from collector.service.episodes import episodes
from collector.service.spans import hours, merged, minus, within
from collector.site import Unit
from tests.collector.service.journal_rows import Rows

WINDOW = (0, 100 * HOUR)
UTC = ZoneInfo("UTC")


def of(rows, seen=(WINDOW,), unit=None, window=WINDOW):
    return availability_of(unit or Unit(id="u1"), episodes(rows).get("u1", []), seen, window, UTC)


def parts(found):
    """Up, down, unknown and in store."""
    return found.up_h, found.down_h, found.unknown_h, found.store_h


def test_a_unit_that_was_seen_all_the_time_was_up():
    found = of(Rows())
    assert (parts(found), found.share, found.least, found.most) == ((100, 0, 0, 0), 1.0, 1.0, 1.0)


def test_out_of_service_failing_and_work_on_a_fault_are_down_once_each():
    rows = Rows().failed(10, 20).out(15, 30).work(25, 35, fault_found="leak").work(50, 60, fault_found="none")
    assert parts(of(rows)) == (75, 25, 0, 0)


def test_what_the_unit_is_not_to_blame_for_is_not_its_down_time():
    assert parts(of(Rows().failed(10, 20, cause="flow-above-rated"))) == (100, 0, 0, 0)


def test_silence_is_unknown_and_gives_the_figure_its_bounds():
    found = of(Rows().out(0, 10), seen=[(0, 60 * HOUR)])
    assert parts(found) == (50, 10, 40, 0)
    assert (found.share, found.least, found.most) == (50 / 60, 0.5, 0.9)


def test_a_unit_that_fell_silent_while_it_was_down_is_down_still():
    assert parts(of(Rows().failed(50), seen=[(0, 60 * HOUR)])) == (50, 50, 0, 0)


def test_hours_in_store_and_before_it_came_are_not_counted():
    stored = Rows().add(20, "out-of-service", **{"for": "store"}).add(60, "return-to-service")
    assert parts(of(stored)) == (60, 0, 0, 40)
    bought = Unit(id="u1", in_service=date(1970, 1, 3))
    assert parts(of(Rows(), unit=bought)) == (52, 0, 0, 0)
    unused = of(Rows(), unit=Unit(id="u1", in_service=False))
    assert (parts(unused), unused.share, unused.units) == ((0, 0, 0, 100), None, 0)


def test_what_began_before_the_window_counts_from_its_start():
    assert parts(of(Rows().out(-50, 10))) == (90, 10, 0, 0)


def test_a_fleets_share_is_weighted_by_time_and_not_the_mean_of_its_units():
    young = of(Rows().out(0, 10), window=(0, 10 * HOUR))
    old = of(Rows())
    assert together([young, old]).share == pytest.approx(100 / 110)


SPANS = st.lists(st.tuples(st.integers(-50, 150), st.integers(-50, 150)), max_size=8)


@given(SPANS, SPANS)
def test_up_down_and_unknown_are_the_whole_window_whatever_happened(down, seen):
    rows = Rows()
    for start, end in merged(down):
        rows.out(start, end)
    found = of(rows, seen=[(a * HOUR, b * HOUR) for a, b in seen])
    assert found.fleet_h == pytest.approx(100)
    assert min(parts(found)) >= 0


@given(SPANS, SPANS)
def test_spans_are_subtracted_as_sets_of_hours_are(first, second):
    def cells(spans):
        return {at for start, end in spans for at in range(start, end)}

    left = minus(first, second)
    assert cells(left) == cells(first) - cells(second)
    assert left == merged(left)
    assert cells(within(first, (0, 100))) == cells(first) & set(range(100))


def test_hours_of_spans():
    assert hours([(0, HOUR), (DAY, DAY + HOUR // 2)]) == 1.5
