"""What is done to a unit from its page, by each role, and what takes it back; a move is asked for, never made here."""

import msgspec
import pytest
import streamlit as st

from collector.backup.known import Known, Spare, WardBackup
from collector.people.rights import ADMINISTRATOR, ENGINEER, PLANNER, ROLES, WARD, may
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.siteedit.edit import edited
from collector.store.journal import JournalWriter
from dashboard import lately, placing, queries
from dashboard import place_words as words
from dashboard.actions import Person, Refused
from dashboard.lately import DONE, FAILED, UNDO_MS, UNDONE, WAITING
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import good, troubled
from tests.dashboard.test_people import add, signed_in
from tests.dashboard.upkeep import upkeep_text

__all__ = ["signed_in"]  # a fixture is found by its name
AMIE = Person("Amie Example", ENGINEER)
KIND_OF = {"acknowledge": entries.ACKNOWLEDGE, "shelve": entries.SHELVE, "move": entries.SITE_CHANGE,
           "swap": entries.SITE_CHANGE, "take-out": entries.OUT_OF_SERVICE, "gauge": entries.CYLINDER_READ}  # fmt: skip


@pytest.fixture
def house(hospital):
    """Ten units in two wards, of which some fail."""
    return hospital(troubled, text=upkeep_text(10))


def write(one, entry):
    (row,) = JournalWriter(one.data_dir).append([entry])
    one.fold()
    st.cache_resource.clear()
    return row


def answer(one, row, result="made", said=""):
    """What the collector does: the site file, then its row."""
    if result == "made":
        one.text = edited(one.text, row.body)
        one.say()
    body = {"change": row.seq, "do": row.body["do"], "result": result} | ({"said": said} if said else {})
    return write(one, JournalEntry(at_ms=one.now_ms, kind=entries.SITE_CHANGED, unit=row.unit, body=body))


def found(one, later_ms=0):
    rows = queries.journal(one.data_dir, kinds=lately.KINDS)
    return lately.deeds(rows, queries.now(one.data_dir), queries.wall_ms() + later_ms)


def now_of(one, *spares):
    backup = Known(
        wards={
            "surgical": WardBackup(
                ward="surgical",
                at_ms=one.now_ms,
                flow_lpm=5.0,
                need_min=20.0,
                usable_l=0.0,
                lasts_min=None,
                spares=spares,
                flows={"unit-03": 4.0},
            )
        }
    )
    return msgspec.structs.replace(queries.now(one.data_dir), backup=backup)


def spare(unit, flow):
    return Spare(unit=unit, good_to_lpm=flow, proven_ms=1, warm_up_min=10.0)


# -- what is offered ---------------------------------------------------------------------------------------------------
def test_spares_that_are_proven_for_the_flow_come_first_and_say_so(house):
    now = now_of(house, spare("unit-08", 3.0), spare("unit-09", 5.0))
    names = [one.unit for one in placing.choices(now, "unit-03", AMIE, house.now_ms)]
    assert names[:2] == ["unit-09", "unit-08"]
    assert set(names) == {"unit-06", "unit-07", "unit-08", "unit-09", "unit-10"}, "units of other wards only"
    first, second, *_ = placing.choices(now, "unit-03", AMIE, house.now_ms)
    assert (first.good, second.good) == (True, False)
    assert "good to 5.0 L/min, proven" in first.said
    assert "good to 3.0 L/min only" in second.said


def test_a_spare_of_the_same_ward_need_not_be_fetched(house):
    now = now_of(house, spare("unit-04", 5.0))
    near = placing.spare_here(now, "unit-03")
    assert near is not None
    assert near.unit == "unit-04"


def test_a_ward_moves_what_comes_or_goes_and_nothing_else(house):
    nurse = Person("N", WARD, ("medical",), signed_in=True)
    assert placing.destinations(house.site, "unit-01", nurse) == ["surgical", ""]
    assert placing.destinations(house.site, "unit-07", nurse) == ["medical"]
    stranger = Person("N", WARD, ("newborn",), signed_in=True)
    assert placing.destinations(house.site, "unit-01", stranger) == []
    assert placing.choices(queries.now(house.data_dir), "unit-01", stranger, 0) == []


# -- waiting, done, refused, taken back --------------------------------------------------------------------------------
def test_a_move_waits_is_done_and_is_taken_back(house):
    asked = write(house, placing.move(house.site, "unit-01", "surgical", AMIE, house.now_ms, "needed there"))
    (deed,) = found(house)
    assert (deed.state, deed.back) == (WAITING, False)
    answer(house, asked)
    (deed,) = found(house)
    assert (deed.state, deed.back) == (DONE, True)
    back = write(house, lately.undo(deed, AMIE, house.now_ms))
    assert (back.body["undoes"], back.body["from"], back.body["to"]) == (asked.seq, "surgical", "medical")
    answer(house, back)
    assert [(one.state, one.back) for one in found(house)] == [(DONE, False), (UNDONE, False)]
    assert 'id = "unit-01"\nmodel = "five"\nward = "medical"' in house.text


def test_a_refusal_says_why_and_nothing_is_left_to_take_back(house):
    asked = write(house, placing.swap(house.site, "unit-01", "unit-07", AMIE, house.now_ms))
    answer(house, asked, "refused", "the file was changed by hand")
    (deed,) = found(house)
    assert (deed.state, deed.said, deed.back) == (FAILED, "the file was changed by hand", False)
    assert lately.state_text(deed, lives=True) == "Not done: the file was changed by hand"
    with pytest.raises(Refused):
        lately.undo(deed, AMIE, house.now_ms)


def test_an_undo_that_is_refused_leaves_the_deed_done(house):
    asked = write(house, placing.move(house.site, "unit-01", "surgical", AMIE, house.now_ms))
    answer(house, asked)
    back = write(house, lately.undo(found(house)[0], AMIE, house.now_ms))
    answer(house, back, "refused", "no room")
    assert [one.state for one in found(house)] == [FAILED, DONE]


def test_nothing_is_taken_back_after_five_minutes_nor_once_it_moved_on(house):
    asked = write(house, placing.move(house.site, "unit-01", "surgical", AMIE, house.now_ms))
    assert [one.state for one in found(house, UNDO_MS * 10)] == [WAITING], "what waits is said for as long as it waits"
    answer(house, asked)
    assert found(house, UNDO_MS + 60_000) == []
    moved_on = queries.now(house.data_dir).site
    assert moved_on is not None
    answer(house, write(house, placing.move(moved_on, "unit-01", "", AMIE, house.now_ms)))
    assert [one.back for one in found(house)] == [True, False]


def test_a_unit_taken_out_in_error_is_back_without_a_check_unless_it_was_touched(house):
    out = JournalEntry(at_ms=house.now_ms, kind=entries.OUT_OF_SERVICE, unit="unit-01", ward="medical", who="A",
                       role=ENGINEER, body={"reason": "weak", "for": "repair"})  # fmt: skip
    row = write(house, out)
    (deed,) = found(house)
    assert deed.back
    entry = lately.undo(deed, AMIE, house.now_ms)
    assert (entry.kind, entry.body["undoes"]) == (entries.RETURN_TO_SERVICE, row.seq)
    write(house, JournalEntry(at_ms=house.now_ms, kind=entries.WORK_OPENED, unit="unit-01", body={"work": "W-1"}))
    assert not found(house)[0].back, "somebody works on it"


def test_an_alarm_put_aside_in_error_comes_back(house):
    alarm = next(one for one in queries.now(house.data_dir).alarms if one.unit == "unit-03" and one.speaks)
    body = {"until_ms": house.now_ms + 900_000, "reason": "x", "event_seq": alarm.event_seq}
    write(house, JournalEntry(at_ms=house.now_ms, kind=entries.SHELVE, unit="unit-03", ward=alarm.ward, who="A",
                              role=WARD, condition=alarm.condition, body=body))  # fmt: skip
    (deed,) = found(house)
    write(house, lately.undo(deed, Person("N", WARD), house.now_ms))
    again = next(one for one in queries.now(house.data_dir).alarms if one.key == alarm.key)
    assert again.state == "unacknowledged", "it speaks again: nobody is taken to know of it"


def test_a_new_unit_is_taken_back_until_it_is_heard(house):
    fields = {"id": "wren", "model": "five", "ward": "medical"}
    asked = write(house, JournalEntry(at_ms=house.now_ms, kind=entries.SITE_CHANGE, unit="wren", ward="medical",
                                      who="A", role=ENGINEER,
                                      body={"do": "add", "table": "unit", "fields": fields, "why": ""}))  # fmt: skip
    answer(house, asked)
    (deed,) = found(house)
    assert lately.undo(deed, AMIE, 1).body == {"do": "remove", "unit": "wren", "why": "", "undoes": asked.seq}
    now = queries.now(house.data_dir)
    heard = msgspec.structs.replace(now.units["unit-01"], unit="wren")
    now = msgspec.structs.replace(now, units=now.units | {"wren": heard})
    rows = queries.journal(house.data_dir, kinds=lately.KINDS)
    assert [one.back for one in lately.deeds(rows, now, queries.wall_ms())] == [False]


# -- the page ----------------------------------------------------------------------------------------------------------
def offered(app):
    return list(app.get("button_group")[0].options)


@pytest.mark.parametrize("role", ROLES)
def test_each_role_is_offered_what_it_may(screen, hospital, signed_in, role):
    one = hospital(troubled, text=upkeep_text(10).replace("sim-lakeside", "lakeside"))
    add(one.data_dir, "me", role, ["medical"] if role == WARD else ())
    signed_in(one, "me")
    expected = [words.DOINGS[name] for name, kind in KIND_OF.items() if may(role, kind)]
    assert offered(screen("unit", unit="unit-03")) == expected
    assert may(role, entries.OUT_OF_SERVICE) == (role in (ENGINEER, ADMINISTRATOR))
    assert may(role, entries.CYLINDER_READ) == (role != PLANNER)


@pytest.fixture
def act(screen, house):
    """Open one action's form on a unit's page, as one of the site file's people."""

    def begin(what, who="Hospital engineer", unit="unit-03"):
        app = screen("unit", unit=unit)
        app.session_state[f"do-{unit}"] = what
        app.run()
        app.selectbox(key="crew-name").select(who).run()
        return app

    return begin


def press(app, label):
    next(button for button in app.button if button.label == label).click()
    return app.run()


def newest(one, kind):
    return max(queries.journal(one.data_dir, kinds=(kind,)), key=lambda row: row.seq)


def test_a_move_says_that_it_waits_and_who_asked(act, house):
    app = act("move", "Ward nurse")
    assert words.TO_FIRST in seen(press(app, words.MOVE))
    app.session_state["do-move-to"] = "surgical"
    said = seen(press(app, words.MOVE))
    assert "unit-03 from Medical to Surgical by Ward nurse (ward) at" in said
    assert words.WAITS in said
    assert newest(house, entries.SITE_CHANGE).body["to"] == "surgical"
    answer(house, newest(house, entries.SITE_CHANGE))
    app.run()
    assert words.MADE in seen(app)
    press(app, words.UNDO)
    assert newest(house, entries.SITE_CHANGE).body["undoes"]


def test_a_swap_gives_the_alarm_as_its_reason_and_may_take_the_unit_out(act, house):
    app = act("swap")
    app.selectbox(key="do-swap-with-unit-03").select("unit-08")
    app.checkbox(key="do-swap-out-unit-03").check()
    said = seen(press(app, words.SWAP))
    assert "unit-03 to Surgical and unit-08 to Medical by Hospital engineer (engineer)" in said
    assert "unit-03 taken out of service by Hospital engineer" in said
    assert newest(house, entries.SITE_CHANGE).body["why"]


def test_a_role_that_may_not_is_told_and_nothing_is_written(act, house):
    app = act("take-out", "Ward nurse")
    assert words.NOT_YOURS in seen(app)
    assert words.TAKE_OUT not in [button.label for button in app.button]
    app = act("gauge", "Hospital planner")
    assert words.NOT_YOURS in seen(app)


def test_an_acknowledgement_says_why_it_stays(act, house):
    app = act("acknowledge", "Ward nurse")
    assert words.STAYS in seen(app)
    button = next(one for one in app.button if one.label.startswith("Acknowledge: "))
    button.click().run()
    assert "acknowledged by Ward nurse (ward)" in seen(app)
    assert words.UNDO not in [one.label for one in app.button]


def test_a_unit_is_added_on_the_page_of_units(screen, hospital):
    one = hospital(good, text=upkeep_text(5))
    app = screen("units")
    app.selectbox(key="crew-name").select("Hospital engineer").run()
    app.text_input(key="new-unit-id").set_value("wren")
    press(app, "Add")
    assert newest(one, entries.SITE_CHANGE).body["fields"]["id"] == "wren"
    app.run()
    assert "New unit wren by Hospital engineer (engineer)" in seen(app)
