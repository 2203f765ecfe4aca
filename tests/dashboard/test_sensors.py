"""Sensors and bridges: who is to be looked at, and the screen in each state."""

import pytest

from collector.store.heard import minutes_heard
from collector.store.history import open_reader
from dashboard import queries
from dashboard.sensorrows import sensors
from tests.dashboard.conftest import seen


def found(one, of_min=40, heard=None):
    now = queries.now(one.data_dir)
    return sensors(now, now.clock.now_ms(), True, of_min, heard or {})


def test_a_silent_unit_comes_first_and_one_out_of_service_not_at_all(bad_hour):
    every = found(bad_hour)
    assert (every[0].unit, every[0].stale, every[0].pressing) == ("unit-15", True, True)
    assert "unit-22" not in [one.unit for one in every]
    assert next(one for one in every if one.unit == "unit-23").unmeasured == ("purity",)


def test_minutes_without_a_reading_are_counted_beyond_a_hundredth(hospital):
    one = hospital(units=3)
    every = {each.unit: each for each in found(one, 1000, {"unit-01": 1000, "unit-02": 991, "unit-03": 900})}
    assert [each.pressing for each in every.values()] == [True, False, False]
    assert {unit: each.missing_min for unit, each in every.items()} == {"unit-03": 100, "unit-02": 9, "unit-01": 0}


def test_minutes_heard_are_of_what_is_on_record_and_rolled_up(bad_hour):
    while bad_hour.store.roll_up(bad_hour.now_ms):
        pass
    conn = open_reader(bad_hour.data_dir)
    of_min, heard = minutes_heard(conn, bad_hour.now_ms - 24 * 3_600_000, bad_hour.now_ms)
    conn.close()
    assert 38 <= of_min <= 41
    assert heard["unit-01"] >= of_min - 1
    assert 27 <= heard["unit-15"] <= 29  # it fell silent at minute 28


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_the_screen_alarming_and_stale(screen, bad_hour, status):
    bad_hour.say(**status)
    said = seen(screen("sensors"))
    assert "unit-15" in said
    assert "east" in said
    assert ("NOT LIVE" in said) == bool(status)


def test_the_screen_when_all_is_well(screen, hospital):
    hospital(units=1)
    assert "Every unit in use is heard" in seen(screen("sensors"))


def test_an_empty_hospital(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    seen(screen("sensors"))
