"""The linked charts of a unit: one axis, marks of what happened, a bounded size, and the same in words."""

import json
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
import vl_convert

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.site import Model
from dashboard import past_words as words
from dashboard import queries
from dashboard.actions import Person, Refused
from dashboard.course import COURSE
from dashboard.fan import fan_of, until_of
from dashboard.happened import Mark, lanes, marks_of
from dashboard.inwords import ROWS, in_words_html, record_from
from dashboard.noting import note
from dashboard.queries import UnitPast
from dashboard.timeline import MARKS_MOST, POINTS, STEMS_MOST, Picture, linked_spec, marks_frame
from dashboard.times import DAY, HOUR, MINUTE
from tests.dashboard import estimates as made
from tests.dashboard.conftest import seen

NAIROBI = ZoneInfo("Africa/Nairobi")
MODEL = Model(id="five")


def past_of(one, unit="unit-07", ward="surgical", span=HOUR):
    return queries.unit_past(one.data_dir, unit, ward, one.now_ms - span, one.now_ms, POINTS)


def picture_of(past, **more):
    until_ms = more.pop("until_ms", past.to_ms)
    return Picture(past, more.pop("points", ()), more.pop("marks", ()), NAIROBI, MODEL, past.from_ms, until_ms, **more)


def compiled(spec):
    """What the browser would make of it; fails where Vega-Lite cannot."""
    data = {name: json.loads(one.to_json(orient="records", date_format="iso")) if isinstance(one, pd.DataFrame) else one
            for name, one in spec["datasets"].items()}  # fmt: skip
    return vl_convert.vegalite_to_svg(spec | {"datasets": data})


def row(kind, at_ms, seq=1, **more):
    return JournalRow(seq=seq, recorded_ms=at_ms, at_ms=at_ms, kind=kind, unit="unit-07", **more)


def test_all_views_are_zoomed_and_read_off_together(bad_hour):
    spec = linked_spec(picture_of(past_of(bad_hour)))
    assert len(spec["vconcat"]) == 5
    names = [layer.get("name") for view in spec["vconcat"] for layer in view["layer"] if layer.get("name")]
    for parameter in spec["params"]:
        assert parameter["views"] == names
    assert "amber 85 %" in compiled(spec)


@pytest.mark.parametrize("dark", [False, True])
def test_a_forecast_is_drawn_after_now_and_the_axis_goes_on(bad_hour, dark):
    past = past_of(bad_hour, span=DAY)
    fan = fan_of(made.falling(bad_hour.now_ms), 92.0, MODEL)
    spec = linked_spec(picture_of(past, fan=fan, until_ms=until_of(fan, past.to_ms, DAY), dark=dark,
                                  points=made.course("unit-07", bad_hour.now_ms, 20)))  # fmt: skip
    drawn = compiled(spec)
    for text in ("now", "switch-off 70 %", "rated 5 L/min", "proven"):
        assert text in drawn, text


def test_without_readings_capacity_or_marks_the_views_are_empty(hospital):
    one = hospital(units=2, minutes=0)
    assert "Capacity, L/min" in compiled(linked_spec(picture_of(past_of(one, "unit-01", "medical"))))


def test_what_goes_to_the_browser_is_bounded(bad_hour):
    past = past_of(bad_hour)
    marks = [Mark(words.ALARMS, "low", past.from_ms + n, past.from_ms + n + 5, "x") for n in range(2000)]
    spec = linked_spec(picture_of(past, marks=marks, points=made.course("unit-07", bad_hour.now_ms, 300)))
    rows = {name: len(table) for name, table in spec["datasets"].items()}
    assert rows["marks"] == MARKS_MOST
    assert rows["series"] <= 2 * POINTS
    assert rows[COURSE] <= 300


def test_upright_lines_give_way_when_there_are_too_many(bad_hour):
    past = past_of(bad_hour)

    def stems(count):
        marks = [Mark(words.ALARMS, "high", past.from_ms + n, None, "x") for n in range(count)]
        return int(marks_frame(picture_of(past, marks=marks))["stem"].sum())

    assert stems(STEMS_MOST) == STEMS_MOST
    assert stems(STEMS_MOST + 1) == 0


# -- what happened ------------------------------------------------------------------------------------------------


def test_alarms_supply_service_and_notes_have_a_lane_each():
    rows = [
        row(entries.CONDITION, 1_000, 1, condition="purity-red", body={"event": "raised", "priority": "high"}),
        row(entries.CONDITION, 5_000, 2, condition="purity-red", body={"event": "cleared", "priority": "high"}),
        row(entries.CONDITION, 2_000, 3, condition="supply-lost", body={"event": "raised", "priority": "high"}),
        row(entries.TASK_DONE, 3_000, 4, who="N. Example", body={"task": "filter", "outcome": "done"}),
        row(entries.NOTE, 4_000, 5, who="N. Example", body={"text": "moved to bed 4"}),
    ]
    marks = marks_of(rows, (), {"filter": "Clean the filter"}, 0, 10_000)
    assert [mark.lane for mark in marks] == [lanes()[3], lanes()[2], lanes()[1], lanes()[0]]
    assert marks[0].what == "moved to bed 4 (N. Example)"
    assert marks[1].what == "Clean the filter: done (N. Example)"
    assert (marks[2].to_ms, marks[3].to_ms) == (None, 5_000)


def test_an_alarm_that_reaches_into_the_span_is_drawn_and_one_that_is_over_is_not():
    rows = [row(entries.CONDITION, at, at, condition="purity-red", body={"event": event, "priority": "high"})
            for at, event in ((1, "raised"), (2, "cleared"), (3, "raised"), (50, "cleared"))]  # fmt: skip
    assert [(mark.from_ms, mark.to_ms) for mark in marks_of(rows, (), {}, 10, 100)] == [(3, 50)]


def test_an_alarm_that_has_stood_for_long_is_drawn_although_its_row_is_not_read(bad_hour):
    bad_hour.fold()
    standing = [alarm for alarm in bad_hour.board.alarms.values() if alarm.unit == "unit-07" and alarm.active]
    assert standing
    marks = marks_of([], standing, {}, bad_hour.now_ms - MINUTE, bad_hour.now_ms)
    assert [mark.to_ms for mark in marks] == [None] * len(standing)


# -- in words -----------------------------------------------------------------------------------------------------


def test_values_and_marks_are_told_in_words(bad_hour):
    past = past_of(bad_hour)
    marks = [Mark(words.NOTES, "note", past.from_ms + 1, past.from_ms + 1, "<b>moved</b>")] * (ROWS + 3)
    said = in_words_html(past, marks, NAIROBI)
    assert "<td>Purity, %</td><td>83.6</td>" in said
    assert "&lt;b&gt;moved&lt;/b&gt;" in said
    assert "and 3 earlier ones" in said
    assert words.NOTHING_HAPPENED in in_words_html(past, (), NAIROBI)


def test_a_long_axis_begins_with_the_record_but_shows_a_day(bad_hour):
    past = past_of(bad_hour, span=365 * DAY)
    assert record_from(past, (), ()) == past.to_ms - DAY
    older = made.course("unit-07", bad_hour.now_ms, 240)
    assert past.from_ms < record_from(past, older, ()) < older[0].hour_ms
    empty = UnitPast(from_ms=0, to_ms=9 * DAY, series=past_of(bad_hour, "none").series, events=[])
    assert record_from(empty, (), ()) == 0


# -- notes --------------------------------------------------------------------------------------------------------

SOMEBODY = Person("N.  Example", "ward")


def test_a_note_is_of_its_moment_and_says_who_wrote_it():
    entry = note("unit-07", "surgical", SOMEBODY, 9 * HOUR, 5 * HOUR, "  moved   to bed 4 ")
    assert (entry.kind, entry.at_ms, entry.who, entry.body) == (
        "note",
        5 * HOUR,
        "N. Example",
        {"text": "moved to bed 4"},
    )


@pytest.mark.parametrize(("at_ms", "text", "why"), [(HOUR, " ", words.NOTE_EMPTY), (2 * HOUR, "x", words.NOTE_AHEAD)])
def test_a_note_needs_a_text_and_a_moment_that_has_been(at_ms, text, why):
    with pytest.raises(Refused, match=why[:20]):
        note("unit-07", "surgical", SOMEBODY, HOUR, at_ms, text)


def test_a_note_is_written_and_then_told_on_the_unit_s_page(screen, bad_hour):
    app = screen("unit", unit="unit-07")
    app.text_input(key="note-who").set_value("N. Example")
    app.text_input(key="note-text").set_value("moved to bed 4")
    app = next(one for one in app.button if one.label == words.NOTE_KEEP).click().run()
    assert words.note_done("unit-07") in seen(app)
    assert "moved to bed 4 (N. Example)" in seen(app.run())
