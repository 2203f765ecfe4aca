"""Units side by side: frames, rows and the screen in each state."""

import json
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard import queries
from dashboard.charts import axis_ends
from dashboard.compare import CAPACITY, COLOURS, DASHES, capacities, lines, measured, value_rows
from tests.dashboard.conftest import seen
from tests.dashboard.estimates import course

UTC = ZoneInfo("UTC")
HOUR = 3_600_000


def tables_of(one, units):
    found = {
        unit: queries.unit_past(one.data_dir, unit, "medical", one.now_ms - HOUR, one.now_ms).series for unit in units
    }
    hours = {unit: course(unit, one.now_ms, 6) for unit in units[:1]}
    return measured(found, UTC) | {CAPACITY: capacities(hours, UTC)}


def test_each_unit_has_its_own_line_and_its_own_numbers(hospital):
    one = hospital(units=3)
    units = ["unit-01", "unit-02"]
    tables = tables_of(one, units)
    rows: list[Any] = list(value_rows(tables, units, queries.now(one.data_dir)))
    assert [row[0].text for row in rows] == units
    assert [row[2].text for row in rows] == ["2.0", "3.0"]
    assert rows[0][1].note == "93.4 to 93.7"
    assert rows[1][4].text == "–"  # no capacity on record
    ends = axis_ends((0, 5 * HOUR), UTC)
    drawn = json.loads(lines(tables["purity_pct"], "purity_pct", units, ends).to_json())
    assert [end["hours"] for end in drawn["encoding"]["x"]["scale"]["domain"]] == [0, 5]
    scale = drawn["encoding"]["color"]["scale"]
    assert (scale["domain"], scale["range"]) == (units, list(COLOURS[:2]))
    assert drawn["encoding"]["strokeDash"]["scale"]["range"] == [list(dash) for dash in DASHES[:2]]


def test_lines_break_where_capacity_was_not_seen():
    points = course("unit-01", 100 * HOUR, 3) + course("unit-01", 130 * HOUR, 3)
    assert sorted(set(capacities({"unit-01": points}, UTC)["part"])) == [0, 1]


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_the_screen_alarming_and_stale(screen, bad_hour, status):
    bad_hour.say(**status)
    app = screen("compare", units="unit-03,unit-07,nobody")
    said = seen(app)
    assert 'href="./unit?unit=unit-07"' in said
    assert app.multiselect[0].value == ["unit-03", "unit-07"]
    assert ("NOT LIVE" in said) == bool(status)


def test_one_unit_cannot_be_compared(screen, hospital):
    hospital(units=1)
    assert "Choose two units or more" in seen(screen("compare"))


def test_no_reading_in_the_span_and_no_unit_at_all(screen, hospital):
    hospital(units=2, minutes=0)
    assert "No readings of these units" in seen(screen("compare"))


def test_an_empty_hospital(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    assert "names no unit" in seen(screen("compare"))
