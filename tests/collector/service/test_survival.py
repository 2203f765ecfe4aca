"""Run hours over time, and how long units run until they first fail."""

import pytest

from collector.rules.limits import DAY, HOUR
from collector.rules.unitrow import UnitRow
from collector.service.reliability import KINDS, Record, fleet_figures
from collector.service.survival import Life, RunHours, kaplan_meier
from collector.site import parse_site
from tests.collector.service.journal_rows import Rows

SITE = parse_site('[facility]\nid = "l"\n[[unit]]\nid = "u1"\n[[unit]]\nid = "u2"')


def record(rows, since_ms=0, days=100, units=()):
    return Record(site=SITE, rows=[row for row in rows if row.kind in KINDS], units={row.unit: row for row in units},
                  given={}, window=(0, days * DAY), since_ms=since_ms, now_ms=days * DAY)  # fmt: skip


def curve(rows, **more):
    (found,) = fleet_figures(record(rows, **more)).survival.values()
    return found


def daily(unit="u1", days=range(1, 101), h_per_day=12.0, start=0.0):
    rows = Rows()
    for place, day in enumerate(days, start=1):
        rows.hours(day, start + place * h_per_day, unit)
    return rows


def test_run_hours_go_on_when_a_count_begins_anew():
    hours = RunHours({0: 0.0, DAY: 20.0, 2 * DAY: 5.0, 3 * DAY: 15.0})
    assert [hours.at(n * DAY) for n in range(5)] == [0, 20, 25, 35, 35]
    assert hours.at(DAY // 2) == 10
    assert hours.between(DAY, 3 * DAY) == 15


def test_a_unit_without_points_has_run_no_hours():
    none = RunHours({})
    assert (none.at(DAY), none.until(DAY), none.between(0, DAY), none.covers(0)) == (0, 0, 0, False)


def test_a_unit_that_failed_counts_to_its_first_failure_and_others_until_now():
    rows = daily()
    rows += daily("u2")
    rows.failed(24 * 40, 24 * 41).failed(24 * 60, 24 * 61)
    found = curve(rows)
    (point,) = found.points
    assert (found.units, found.failed, point.at_risk, point.survival) == (2, 1, 2, 0.5)
    assert point.run_h == pytest.approx(40 * 12)
    assert found.longest_h == pytest.approx(1200)


def test_hours_written_down_before_the_first_reading_are_not_counted_twice():
    rows = daily()
    rows += daily("u2")
    found = curve(rows.failed(24 * 40, 24 * 41), since_ms=50 * DAY)
    assert (found.points[0].run_h, found.longest_h) == pytest.approx((480, 1200))


def test_a_failure_before_any_hours_is_not_on_record():
    found = curve(daily(days=range(50, 101)).failed(24 * 10, 24 * 11), since_ms=49 * DAY)
    assert (found.units, found.failed) == (1, 0)


def test_a_count_that_was_under_way_when_it_was_first_written_down_begins_there():
    assert curve(daily(start=5000.0)).longest_h == pytest.approx(99 * 12 + 24)


def test_a_count_that_begins_anew_with_the_record_begins_at_its_first_reading():
    rows = daily(days=range(1, 50), start=5000.0)
    rows += daily(days=range(50, 101), h_per_day=24.0, start=-18.0)  # six hours by the first midnight
    found = fleet_figures(record(rows, since_ms=50 * DAY - 6 * HOUR))
    assert found.units["u1"].run_h == pytest.approx(50 * 24 + 6)


def test_a_unit_of_today_counts_from_its_row_alone():
    now = UnitRow(unit="u1", last_ms=100 * DAY, observed_h=3.0, inferred_h=1.0)
    assert curve(Rows(), since_ms=100 * DAY - 6 * HOUR, units=[now]).longest_h == 4.0


def test_units_that_never_ran_are_no_part_of_it_and_nothing_is_no_curve():
    assert (curve(Rows()).units, kaplan_meier([]).points, kaplan_meier([]).median_h) == (0, (), None)


def test_where_everything_has_failed_bounds_are_left_out():
    found = kaplan_meier([Life("a", 10.0, True), Life("b", 20.0, True)])
    assert [point.survival for point in found.points] == [0.5, 0.0]
    assert (found.points[-1].low, found.points[-1].high, found.median_h) == (None, None, 10.0)
