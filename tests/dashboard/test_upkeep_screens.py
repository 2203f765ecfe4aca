"""The screens of upkeep, run by Streamlit on a real store: what they say, and what people write down on them."""

import pytest
import streamlit as st

from collector.rules import entries
from collector.store.history import journal_rows, open_reader
from tests.dashboard.conftest import seen
from tests.dashboard.upkeep import upkeep_text

NURSE, ENGINEER, PLANNER = "Ward nurse", "Hospital engineer", "Hospital planner"


@pytest.fixture
def ours(hospital):
    """Five units in one ward, all at work."""
    return hospital(text=upkeep_text())


def newest(one, kind):
    conn = open_reader(one.data_dir)
    try:
        return max(journal_rows(conn, kinds=(kind,)), key=lambda row: row.seq, default=None)
    finally:
        conn.close()


def as_person(app, name):
    app.selectbox(key="crew-name").set_value(name)
    return app.run()


def press(app, label):
    next(button for button in app.button if button.label == label).click()
    return app.run()


# -- due ----------------------------------------------------------------------------------------------------------


def test_what_is_overdue_comes_first_and_leads_to_its_unit(screen, ours):
    said = seen(screen("due"))
    assert "Overdue: 15" in said
    assert 'href="./unit?unit=unit-03"' in said
    assert "days overdue" in said
    assert "not on record" in said


def test_a_ward_s_own_work_is_shown_alone(screen, ours):
    app = screen("due")
    next(box for box in app.selectbox if box.label == "Whose work").set_value("ward").run()
    said = seen(app)
    assert "Wash the cabinet filter" in said
    assert "Replace the intake filter" not in said


def test_the_month_holds_what_is_due(screen, ours):
    app = screen("due")
    next(one for one in app.segmented_control if one.label == "Show as").set_value("month").run()
    said = seen(app)
    assert 'class="sw-month"' in said
    assert "unit-01: Wash the cabinet filter" in said
    for months in (1, 11):
        next(one for one in app.segmented_control if one.label == "Month").set_value(months).run()
        seen(app)


def test_five_hundred_units_are_listed_and_counted(screen, hospital):
    hospital(units=500, minutes=1, text=upkeep_text(500, per_ward=25))
    said = seen(screen("due"))
    assert "Overdue: 1497" in said  # of 499: one is not used, and its calendar goes on
    assert said.count("<tr>") < 300


# -- recording a task ---------------------------------------------------------------------------------------------


def test_a_task_is_recorded_with_its_parts_and_minutes(screen, ours):
    app = as_person(screen("unit", unit="unit-03"), ENGINEER)
    app.button_group(key="task-unit-03").set_value("intake-filter").run()
    app.button(key="done-unit-03-intake-filter").click().run()
    row = newest(ours, entries.TASK_DONE)
    assert (row.unit, row.ward, row.who, row.role) == ("unit-03", "medical", ENGINEER, "engineer")
    assert row.body == {"task": "intake-filter", "outcome": "done", "meter_h": None, "minutes": 20.0,
                        "parts": {"intake-filter": 1}, "note": ""}  # fmt: skip
    assert "written down by Hospital engineer (engineer)" in seen(app)
    assert not [button for button in app.button if button.label == "Done"]  # a second tap writes nothing


def test_what_is_put_off_needs_a_reason(screen, ours):
    app = as_person(screen("unit", unit="unit-03"), PLANNER)
    app.button_group(key="task-unit-03").set_value("intake-filter").run()
    app.selectbox(key="outcome-unit-03-intake-filter").set_value("put-off")
    press(app, "Write down")
    assert "Write a reason" in app.error[0].value
    app.text_input(key="note-unit-03-intake-filter").set_value("no part in stock")
    press(app, "Write down")
    body = newest(ours, entries.TASK_DONE).body
    assert (body["outcome"], body["note"], body["parts"]) == ("put-off", "no part in stock", {})


def test_the_ward_is_offered_its_own_task_alone(screen, ours):
    app = as_person(screen("unit", unit="unit-03"), NURSE)
    assert app.button_group(key="task-unit-03").options == ["! Wash the cabinet filter (overdue)"]


def test_a_check_is_a_check_and_an_overdue_analyser_is_refused(screen, ours):
    app = as_person(screen("unit", unit="unit-03"), ENGINEER)
    app.button_group(key="task-unit-03").set_value("purity-check").run()
    app.number_input(key="check-unit-03-left").set_value(93.1)
    app.selectbox(key="check-unit-03-analyser").set_value("old")
    press(app, "Write the check down")
    assert "ran out" in app.error[0].value
    app.selectbox(key="check-unit-03-analyser").set_value("workshop")
    press(app, "Write the check down")
    body = newest(ours, entries.PURITY_PROOF).body
    assert (body["as_left_pct"], body["flow_lpm"], body["result"]) == (93.1, 5.0, "pass")


# -- work orders --------------------------------------------------------------------------------------------------


def test_a_work_order_goes_from_opening_to_closing(screen, ours):
    app = as_person(screen("work"), ENGINEER)
    app.text_input(key="open-why-unit-01").set_value("odd noise").run()
    app.button(key="open-order").click().run()
    opened = newest(ours, entries.WORK_OPENED)
    work = opened.body["work"]
    assert opened.body["why"] == "odd noise"
    assert work in seen(app)
    app.number_input(key="check-unit-01-found").set_value(78.0)
    app.number_input(key="check-unit-01-left").set_value(93.0)
    press(app, "Write the check down")
    assert newest(ours, entries.PURITY_PROOF).body["work"] == work
    press(app, "Close the order")
    assert "Write which fault was found" in app.error[0].value
    app.text_input(key=f"close-{work}-fault").set_value("valve stuck")
    app.selectbox(key=f"close-{work}-cause").set_value("valve-fault")
    app.text_input(key=f"close-{work}-action").set_value("valve replaced")
    press(app, "Close the order")
    body = newest(ours, entries.WORK_CLOSED).body
    assert (body["work"], body["cause"], body["minutes"]) == (work, "valve-fault", 30.0)
    assert "valve replaced" in seen(app)


def test_the_ward_opens_no_work_order(screen, ours):
    app = as_person(screen("work"), NURSE)
    app.text_input(key="open-why-unit-01").set_value("odd noise").run()
    app.button(key="open-order").click().run()
    assert "is for: administrator or engineer" in app.error[0].value
    assert newest(ours, entries.WORK_OPENED) is None


# -- parts, visits, backup, figures -------------------------------------------------------------------------------


def test_parts_that_were_ordered_are_on_their_way(screen, ours):
    app = as_person(screen("parts"), PLANNER)
    assert "at once" in seen(app)
    app.number_input(key="move-pieces").set_value(7)
    press(app, "Write down")
    assert newest(ours, entries.PART_MOVED).body == {"part": "intake-filter", "by": 7, "why": "ordered"}
    assert "7 × Intake filter: ordered, written down" in seen(app)


def test_a_visit_is_planned_and_locked(screen, ours):
    app = screen("visits")
    said = seen(app)
    assert "Week of Mon" in said
    assert "Replace the intake filter" in said
    as_person(app, PLANNER)
    press(app, "Write down")
    body = newest(ours, entries.VISIT).body
    assert body["state"] == "locked"
    assert body["tasks"]
    assert ">locked<" in seen(app)


def test_a_gauge_is_read_in_bar_and_an_impossible_one_is_refused(screen, ours):
    app = as_person(screen("backup"), NURSE)
    value = "gauge-value-medical-1"
    press(app, "Write it down")
    assert "Write what the gauge shows" in app.error[0].value
    app.number_input(key=value).set_value(9_000.0)
    press(app, "Write it down")
    assert "is more than medical-1" in app.error[0].value
    assert newest(ours, entries.CYLINDER_READ) is None
    app.number_input(key=value).set_value(120.0)
    press(app, "Write it down")
    assert newest(ours, entries.CYLINDER_READ).body == {"cylinder": "medical-1", "kpa": 12_000.0, "entered": "120 bar"}


@pytest.mark.parametrize("days", [7, 365])
def test_figures_say_what_they_are_of(screen, ours, days):
    ours.store.roll_up(ours.now_ms)
    st.cache_resource.clear()
    app = screen("fleet")
    app.segmented_control[0].set_value(days).run()
    seen(app)
