"""Each screen, run by Streamlit on a real store: empty, usual, alarming and stale."""

import sqlite3

import pytest
import streamlit as st

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.rules.lifecycle import State
from collector.store import history, open_reader
from collector.store.journal import JournalWriter
from collector.store.quarantine import Quarantined
from dashboard import queries
from tests.dashboard import estimates as made
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import site_text

SCREENS = ("board", "unit", "alarms", "record", "about", "due", "visits", "work", "parts", "fleet", "labels", "backup",
           "limits")  # fmt: skip
MARK = "SIMULATED DATA · not a real hospital"
LOST = "NOT LIVE: the collector has not been heard for"


@pytest.mark.parametrize("name", SCREENS)
def test_without_a_store_it_waits(screen, name):
    assert "Waiting for the collector's first reading." in seen(screen(name))


@pytest.mark.parametrize("name", SCREENS)
@pytest.mark.parametrize("units", [0, 1])
def test_an_empty_site_and_a_single_unit_are_shown(screen, hospital, name, units):
    hospital(units=units) if units else hospital(text='[facility]\nid = "sim-empty"\n')
    said = seen(screen(name))
    assert MARK in said
    assert "NOT LIVE" not in said


@pytest.mark.parametrize("name", SCREENS)
def test_a_site_that_was_never_heard_is_shown(screen, hospital, name):
    hospital(units=5, minutes=0)
    assert "Waiting for the collector's first reading." in seen(screen(name))


@pytest.mark.parametrize("name", SCREENS)
def test_a_lost_collector_is_said_on_every_screen(screen, hospital, name):
    hospital(units=5, heard_s_ago=60)
    assert LOST in seen(screen(name))


@pytest.mark.parametrize("name", SCREENS)
def test_a_usual_hour_has_nothing_to_complain_of(screen, hospital, name):
    hospital(units=5)
    said = seen(screen(name))
    assert MARK in said
    assert "sw-banner" not in said


@pytest.mark.parametrize("name", SCREENS)
def test_a_locked_store_is_said_in_words(screen, hospital, name):
    one = hospital(units=1)
    one.store.close()
    blocker = sqlite3.connect(one.store.path, isolation_level=None)
    try:
        blocker.execute("PRAGMA locking_mode=EXCLUSIVE")
        blocker.execute("PRAGMA journal_mode=DELETE")
        blocker.execute("BEGIN EXCLUSIVE")
        assert "is locked by another program" in seen(screen(name))
    finally:
        blocker.close()


@pytest.mark.parametrize("name", SCREENS)
def test_a_damaged_store_is_said_in_words(screen, tmp_path, name):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "store.sqlite3").write_bytes(b"this is no database" * 100)
    assert "is damaged or is no store" in seen(screen(name))


# -- board --------------------------------------------------------------------------------------------------------


def test_the_board_is_calm_when_all_is_well(screen, hospital):
    hospital(units=5)
    said = seen(screen("board"))
    assert "Nothing needs attention." in said
    assert said.count("sw-mark-running") == 5
    assert not {"sw-high", "sw-medium", "sw-low", "sw-stale"} & set(said.replace('"', " ").split())


def test_the_board_says_what_is_wrong_and_what_to_do(screen, bad_hour):
    said = seen(screen("board"))
    speaking = queries.now(bad_hour.data_dir).speaking()
    counts = [sum(alarm.priority == name for alarm in speaking) for name in ("high", "medium", "low")]
    assert "{} to attend to: {} high, {} medium, {} low".format(sum(counts), *counts) in said
    assert "Unit output very low" in said
    assert "Change over to the backup now." in said
    assert "4 units in the ward have no power. Change over to cylinders now." in said
    assert "No data since" in said
    for word in ("Warming up", "Off", "Out of service", "Runs, purity not measured", "Flow above rated"):
        assert f'sw-word">{word}<' in said, word


def test_one_ward_s_board_shows_that_ward(screen, bad_hour):
    said = seen(screen("board", ward="newborn"))
    assert 'data-part="tile-unit-16"' in said
    assert "tile-unit-03" not in said
    assert "Change over to cylinders now." in said


@pytest.mark.parametrize("ward", ["nowhere", '"><script>alert(1)</script>'])
def test_an_unknown_ward_shows_all(screen, bad_hour, ward):
    said = seen(screen("board", ward=ward))
    assert "There is no ward of this name here." in said
    assert "tile-unit-03" in said
    assert "<script" not in said


def test_when_the_collector_is_lost_no_tile_is_good(screen, bad_hour):
    bad_hour.say(heard_s_ago=60)
    said = seen(screen("board"))
    assert LOST in said
    assert "sw-mark-running" not in said
    assert said.count("sw-greyed") == 24


def test_no_broker_is_said_over_the_board(screen, bad_hour):
    bad_hour.say(broker_state="refused", broker_said="not authorised")
    assert "the collector is refused by the broker 127.0.0.1:1883 (not authorised)" in seen(screen("board"))


def test_five_hundred_units_are_shown(screen, hospital):
    hospital(units=500, minutes=1, text=site_text(500, per_ward=25))
    assert seen(screen("board")).count('id="tile-') == 500


# -- unit ---------------------------------------------------------------------------------------------------------


def test_a_unit_s_screen_says_what_is_known_of_it(screen, bad_hour):
    app = screen("unit", unit="unit-03")
    said = seen(app)
    assert app.selectbox[0].value == "unit-03"
    assert len(app.get("vega_lite_chart")) == 1
    for text in ("Unit output very low", "Observed", "Not accounted for", 'aria-label="Capacity"', "lasts"):
        assert text in said, text


def give(one, unit, capacity, points=(), **fields):
    """Put an estimate made by hand into a unit's stored row."""
    rows = [made.with_capacity(row, capacity, **fields) for row in one.store.load_units() if row.unit == unit]
    with one.store.transaction():
        one.store.save_units(rows)
        one.store.add_capacity(points)
    assert rows


def test_a_falling_unit_s_screen_says_what_it_is_good_for_and_draws_it(screen, hospital):
    one = hospital(units=3)
    give(one, "unit-02", made.falling(one.now_ms), made.course("unit-02", one.now_ms, 500), flow_lpm=4.0)
    app = screen("unit", unit="unit-02")
    said = seen(app)
    for text in ("Good for up to 2.5 L/min of its rated 5.", "amber in 3 to 9 h", "Likely cause: wet sieve",
                 "Warm-up took 14 min, usually 8 min.", "By forecast: amber in 3 to 9 h. Choose a longer span",
                 "Never turn a flow up on the strength", "What it cannot say."):  # fmt: skip
        assert text in said, text
    assert len(app.get("vega_lite_chart")) == 1
    app.segmented_control[0].set_value("Day").run()
    assert "After “now”" in seen(app)
    give(one, "unit-02", made.falling(one.now_ms), flow_lpm=2.0)  # somebody has just turned it down
    st.cache_resource.clear()
    assert "After “now”" not in seen(app.run())


@pytest.mark.parametrize("span", ["Day", "Week", "Month", "Year", "3 years"])
@pytest.mark.parametrize("capacity", [made.seen, made.unseen, made.failed])
def test_every_span_of_capacity_is_drawn(screen, hospital, span, capacity):
    one = hospital(units=2)
    give(one, "unit-02", capacity(one.now_ms), made.course("unit-02", one.now_ms, 20_000, every=7))
    app = screen("unit", unit="unit-02")
    app.segmented_control[0].set_value(span).run()
    seen(app)
    assert len(app.get("vega_lite_chart")) == 1


def test_a_silent_unit_s_capacity_is_greyed_and_of_then(screen, bad_hour):
    give(bad_hour, "unit-15", made.falling(bad_hour.now_ms - 720_000))
    said = seen(screen("unit", unit="unit-15"))
    assert 'sw-panel sw-greyed sw-short"' in said
    assert "not now: good for up to 2.5 L/min" in said
    assert "After “now”" not in said


def test_when_the_collector_is_lost_no_capacity_is_of_now(screen, hospital):
    one = hospital(units=2)
    give(one, "unit-02", made.seen(one.now_ms))
    one.say(heard_s_ago=60)
    said = seen(screen("unit", unit="unit-02"))
    assert "not now: good for its rated 5 L/min" in said
    assert '<p class="sw-good-for">Good' not in said


def test_a_unit_that_was_never_heard_has_an_empty_panel(screen, bad_hour):
    said = seen(screen("unit", unit="unit-22"))
    assert "Capacity is not known yet" in said
    assert "No capacity on record in this span" in said


def test_the_board_of_five_hundred_estimates_says_which_units_hold_less(screen, hospital):
    one = hospital(units=500, minutes=1, text=site_text(500, per_ward=25))
    rows = [made.with_capacity(row, (made.falling if place % 5 == 0 else made.seen)(one.now_ms), flow_lpm=1.0)
            for place, row in enumerate(one.store.load_units())]  # fmt: skip
    with one.store.transaction():
        one.store.save_units(rows)
    said = seen(screen("board"))
    assert said.count("good to 2.5 L/min; do not turn up") == len(rows[::5])
    assert said.count('id="tile-') == 500


@pytest.mark.parametrize("span", ["Day", "Week", "Month", "Year"])
def test_every_span_is_drawn(screen, bad_hour, span):
    app = screen("unit", unit="unit-07")
    app.segmented_control[0].set_value(span).run()
    seen(app)
    assert len(app.get("vega_lite_chart")) == 1


def test_a_unit_without_readings_has_no_chart_and_says_so(screen, bad_hour):
    app = screen("unit", unit="unit-22")
    assert "No readings of unit-22 in this span." in seen(app)
    assert not app.get("vega_lite_chart")


def test_an_unknown_unit_leads_to_a_choice(screen, bad_hour):
    assert "There is no unit of this name here." in seen(screen("unit", unit="<script>"))


def test_a_silent_unit_s_values_are_greyed_on_its_own_screen(screen, bad_hour):
    assert 'sw-figures sw-greyed"' in seen(screen("unit", unit="unit-15"))


# -- alarms -------------------------------------------------------------------------------------------------------


def person(app, name="N. Example", role="ward"):
    app.text_input(key="name").set_value(name)
    app.selectbox(key="role").set_value(role)
    return app.run()


def alarm_of(one, unit, condition):
    one.fold()
    return one.board.alarms[(unit, "", condition)]


def newest(one):
    conn = open_reader(one.data_dir)
    try:
        return max(history.journal_rows(conn), key=lambda row: row.seq)
    finally:
        conn.close()


def test_alarms_are_listed_worst_first(screen, bad_hour):
    said = seen(screen("alarms"))
    places = [said.index(f"<b>{what}</b>") for what in ("Unit output very low", "No readings", "Flow above rated")]
    assert places == sorted(places)


def test_acknowledging_is_written_with_name_and_role_and_said(screen, bad_hour):
    app = person(screen("alarms"))
    app.button(key="ack:unit-03::purity-red").click().run()
    row = newest(bad_hour)
    assert "“Unit output very low” of unit-03 acknowledged by N. Example (ward) at" in seen(app)
    assert f"row {row.seq}. The collector takes it up within seconds." in seen(app)
    assert (row.kind, row.who, row.role, row.origin) == (
        entries.ACKNOWLEDGE, "N. Example", "ward", "dashboard this machine",
    )  # fmt: skip
    assert alarm_of(bad_hour, "unit-03", "purity-red").state == State.ACKNOWLEDGED
    st.cache_resource.clear()
    app.run()
    assert "Acknowledged: N. Example (ward)" in seen(app)
    assert "ack:unit-03::purity-red" not in {button.key for button in app.button}


def test_an_alarm_says_who_was_told_of_it_by_message(screen, bad_hour):
    alarm = alarm_of(bad_hour, "unit-03", "purity-red")
    at_ms = queries.now(bad_hour.data_dir).clock.now_ms()
    body = {"way": "phone", "person": "Night <nurse>", "alarms": [{"about": f"alarm-{alarm.heard_seq}"}]}
    JournalWriter(bad_hour.data_dir).append([
        entries.JournalEntry(at_ms=at_ms, kind=entries.MESSAGE_SENT, unit="unit-03", origin="deliver", body=body),
    ])  # fmt: skip
    assert "Told: Night &lt;nurse&gt; " in seen(screen("alarms"))


def test_nobody_acknowledges_without_a_name(screen, bad_hour):
    before = newest(bad_hour).seq
    app = person(screen("alarms"), name="   ")
    app.button(key="ack:unit-03::purity-red").click().run()
    assert "Write your name first" in app.error[0].value
    assert newest(bad_hour).seq == before


def test_putting_aside_needs_a_reason_and_has_an_end(screen, bad_hour):
    app = person(screen("alarms"))
    key = "unit-09::flow-above-rated"
    submit = next(b for b in app.button if b.label == "Put aside" and key in b.form_id)
    submit.click().run()
    assert "Write a reason" in app.error[0].value
    app.selectbox(key=f"minutes:{key}").set_value(60)
    app.text_input(key=f"reason:{key}").set_value("second source fitted")
    next(b for b in app.button if b.label == "Put aside" and key in b.form_id).click().run()
    row = newest(bad_hour)
    assert (row.kind, row.body["reason"]) == (entries.SHELVE, "second source fitted")
    assert row.body["until_ms"] - row.at_ms == 3_600_000
    assert alarm_of(bad_hour, "unit-09", "flow-above-rated").state == State.SHELVED
    st.cache_resource.clear()
    app.run()
    assert "Put aside or out of service: 1" in seen(app)
    app.button(key=f"back:{key}").click().run()
    assert alarm_of(bad_hour, "unit-09", "flow-above-rated").state == State.UNACKNOWLEDGED


def service(app, unit, reason):
    app.selectbox(key="service-unit").set_value(unit)
    app.text_input(key="service-reason").set_value(reason)
    next(b for b in app.button if b.label == "Take out or return").click().run()
    return app


def test_a_unit_that_was_taken_out_returns_after_a_passed_check_only(screen, bad_hour):
    app = service(person(screen("alarms"), role="engineer"), "unit-03", "sieve to be changed")
    assert "unit-03 taken out of service by N. Example (engineer)" in seen(app)
    assert alarm_of(bad_hour, "unit-03", "purity-red").state == State.OUT_OF_SERVICE
    st.cache_resource.clear()
    before = newest(bad_hour).seq
    app = service(app.run(), "unit-03", "sieve changed")
    assert "unit-03 stays out of service: no passed check since it was taken out" in app.error[0].value
    assert newest(bad_hour).seq == before
    check = {"analyser": "a", "as_found_pct": 80.0, "as_left_pct": 93.0, "flow_lpm": 5.0, "uncertainty_pct": 2.0}
    proof = JournalEntry(at_ms=bad_hour.now_ms, kind=entries.PURITY_PROOF, unit="unit-03", who="N. Example",
                         role="engineer", body={**check, "result": "pass"})  # fmt: skip
    JournalWriter(bad_hour.data_dir).append([proof])
    app = service(app.run(), "unit-03", "sieve changed")
    assert "unit-03 returned to service" in seen(app)
    assert newest(bad_hour).body == {"reason": "sieve changed", "proof": before + 1}
    assert alarm_of(bad_hour, "unit-03", "purity-red").state == State.UNACKNOWLEDGED


def test_an_administrator_may_return_a_unit_without_the_check_and_that_stays_on_record(screen, bad_hour):
    app = service(person(screen("alarms"), role="administrator"), "unit-03", "odd noise")
    bad_hour.fold()
    st.cache_resource.clear()
    app = app.run()
    app.checkbox(key="service-override").set_value(True)
    app = service(app, "unit-03", "no other unit is left")
    assert "unit-03 returned to service" in seen(app)
    assert newest(bad_hour).body["override"] is True


def test_the_ward_does_not_take_units_out(screen, bad_hour):
    before = newest(bad_hour).seq
    app = service(person(screen("alarms"), role="ward"), "unit-03", "odd noise")
    assert "for an engineer or an administrator" in app.error[0].value
    assert newest(bad_hour).seq == before


def test_what_is_done_while_the_collector_is_away_takes_effect_later(screen, bad_hour):
    bad_hour.say(heard_s_ago=60)
    app = person(screen("alarms"))
    app.button(key="ack:unit-03::purity-red").click().run()
    assert "it takes effect when it runs again" in seen(app)


def test_a_store_that_cannot_be_written_is_said_and_nothing_is_lost_from_sight(screen, bad_hour, monkeypatch):
    monkeypatch.setattr("collector.people.book.BUSY_MS", 50)
    app = person(screen("alarms"))
    with bad_hour.store.transaction():
        app.button(key="ack:unit-03::purity-red").click().run()
    assert "is locked by another program" in app.error[0].value
    assert "Unit output very low" in seen(app)


def test_a_ward_filter_shows_that_ward_only(screen, bad_hour):
    app = screen("alarms")
    next(box for box in app.selectbox if box.label == "Ward").set_value("newborn").run()
    said = seen(app)
    assert "No power in the ward" in said
    assert "unit-03</b>" not in said


# -- data ---------------------------------------------------------------------------------------------------------


def test_what_was_put_aside_is_shown_with_its_reason(screen, bad_hour):
    with bad_hour.store.transaction():
        bad_hour.store.quarantine(
            [Quarantined(bad_hour.now_ms, "oxygen/v1/x", b"\xff\x00<b>not json", "json", "not JSON: line 1")]
        )
    said = seen(screen("record"))
    assert "json: 1" in said
    assert "not JSON: line 1" in said
    assert r"\xff\x00<b>not json" in said


def test_the_journal_is_filtered(screen, bad_hour):
    app = screen("record")
    assert "purity-red" in seen(app)
    app.multiselect[0].set_value([entries.NOTE]).run()
    assert "0 rows" in seen(app)


@pytest.mark.parametrize(
    ("name", "texts"),
    [("record", ("Free on the disk", "Journal rows")), ("sensors", ("127.0.0.1:1883", "east", "1,234"))],
)
def test_collector_bridges_and_store_say_how_they_are(screen, bad_hour, name, texts):
    said = seen(screen(name))
    for text in texts:
        assert text in said, text


def test_the_cautions_and_the_limits_in_force_are_said(screen, bad_hour):
    said = seen(screen("about"))
    model = 'five</td><td data-name="Amber, %" class="sw-number">85</td>'
    for text in ("Never turn a flow up on the strength of a screen", "Oxygen feeds fire", "pulse oximetry", model):
        assert text in said, text
