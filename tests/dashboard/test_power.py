"""Power quality: minutes from a real store, and the screen in each state."""

import pytest

from collector.service.power_quality import limits_of
from collector.store import supply_minutes as asked
from collector.store.history import open_reader
from collector.store.supply_minutes import supply_minutes
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import good


def sagging(unit, minute):
    return good(unit, minute) | ({"volts": 190.0} if unit == "unit-03" and 100 <= minute < 110 else {})


@pytest.fixture
def sagged(hospital):
    one = hospital(sagging, units=5, minutes=180)
    while one.store.roll_up(one.now_ms):
        pass
    return one


def found(one, from_ms=0):
    conn = open_reader(one.data_dir)
    try:
        return supply_minutes(conn, {f"unit-0{n}": limits_of(230.0) for n in (1, 3, 9)}, from_ms, one.now_ms)
    finally:
        conn.close()


def test_only_hours_that_were_not_all_good_are_looked_at_by_the_minute(sagged):
    units = found(sagged)
    assert set(units) == {"unit-01", "unit-03"}
    assert units["unit-01"].minutes == ()
    assert units["unit-01"].hours >= 2
    low = [one for one in units["unit-03"].minutes if one.low < 207]
    assert 10 <= len(low) <= 11


def test_what_is_too_much_is_left_out_and_counted(sagged, monkeypatch):
    monkeypatch.setattr(asked, "HOURS_MOST", 0)
    unit = found(sagged)["unit-03"]
    assert unit.minutes == ()
    assert unit.left_out in (1, 2)


def test_the_screen_tells_the_sag(screen, sagged):
    said = seen(screen("power"))
    assert "to 190 V" in said
    assert "Worst hours" in said


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_the_screen_alarming_and_stale(screen, bad_hour, status):
    bad_hour.say(**status)
    said = seen(screen("power"))
    assert "Newborn" in said
    assert ("NOT LIVE" in said) == bool(status)


def test_no_supply_measured_and_no_unit(screen, hospital):
    hospital(lambda unit, minute: {"purity_pct": 93.0, "flow_lpm": 2.0, "power_w": 300.0}, units=1)
    assert "No supply voltage is on record" in seen(screen("power"))


def test_an_empty_hospital(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    assert "names no unit" in seen(screen("power"))
