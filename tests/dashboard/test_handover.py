"""The note for the next shift: what it says, that it is written down, and its screen in each state."""

import time

import pytest

from collector.rules import entries
from collector.rules.entries import JournalEntry
from dashboard import queries
from dashboard.actions import Person, Refused
from dashboard.freshness import Banner
from dashboard.handover import KINDS, earlier, handed_over, note_html, note_of, note_text
from tests.dashboard.conftest import seen
from tests.dashboard.upkeep import upkeep_text

HOUR = 3_600_000


def made(one, ward="", dues=(), banners=()):
    now = queries.now(one.data_dir)
    now_ms = now.clock.now_ms()
    rows = queries.journal(one.data_dir, kinds=KINDS)
    return note_of(now, now_ms, ward, now_ms - HOUR, rows, dues, banners)


def lines(note, title):
    return next(section.lines for section in note.sections if section.title == title)


def write(one, **fields):
    with one.store.transaction():
        one.store.append_journal([JournalEntry(at_ms=one.now_ms, **fields)], time.time_ns() // 1_000_000)
    one.fold()


def test_what_stands_says_who_knows_and_what_to_do(bad_hour):
    write(bad_hour, kind=entries.ACKNOWLEDGE, unit="unit-03", ward="medical", condition="purity-red", who="N. Example",
          role="ward")  # fmt: skip
    stands = lines(made(bad_hour), "Stands now")
    mine = next(line for line in stands if "unit-03" in line and "very low" in line)
    assert mine.startswith("High: Unit output very low, unit-03, Medical, since ")
    assert "; acknowledged by N. Example. " in mine
    assert "Change over to the backup now." in mine
    assert any("; not acknowledged. " in line for line in stands)


def test_what_is_put_aside_says_until_when(bad_hour):
    write(bad_hour, kind=entries.SHELVE, unit="unit-09", ward="surgical", condition="flow-above-rated",
          who="N. Example", role="ward", body={"until_ms": bad_hour.now_ms + HOUR, "reason": "ordered"})  # fmt: skip
    aside = lines(made(bad_hour), "Put aside or out of service")
    assert any("unit-09" in line and "until " in line for line in aside)
    assert any("unit-22" in line and "out of service" in line for line in aside)


def test_a_ward_s_note_names_no_other_ward(bad_hour):
    text = note_text(made(bad_hour, "newborn"))
    assert "No power in the ward, whole ward, Newborn" in text
    assert "unit-03" not in text
    assert ", Newborn: " in text.splitlines()[0]


def test_what_people_did_and_noted_is_told_in_its_order(hospital):
    one = hospital(text=upkeep_text())
    write(one, kind=entries.NOTE, unit="unit-01", ward="medical", who="N. Example", role="ward",
          body={"text": "humidifier changed"})  # fmt: skip
    write(one, kind=entries.TASK_DONE, unit="unit-02", ward="medical", who="E. Example", role="engineer",
          body={"task": "intake-filter", "outcome": "done", "parts": {"intake-filter": 1}})  # fmt: skip
    done = lines(made(one), "What people did and noted")
    assert [line.split(" ", 1)[1] for line in done] == [
        "unit-01: humidifier changed (N. Example)",
        "unit-02: Replace the intake filter: done; 1 intake-filter (E. Example)"]  # fmt: skip


def test_doubt_about_the_watch_is_part_of_the_note(hospital):
    one = hospital()
    assert lines(made(one), "How far this can be trusted") == ("The collector is heard and readings come in.",)
    assert lines(made(one, banners=[Banner(True, "NOT LIVE")]), "How far this can be trusted") == ("NOT LIVE",)


def test_what_was_added_is_escaped_and_handed_over_with_the_note(hospital):
    note = made(hospital())
    assert "<b>" not in note_html(note, "<b>bold</b>")
    entry = handed_over(note, " two cylinders came ", "", 5, Person("N. Example", "ward"), 9)
    assert (entry.kind, entry.body["text"], entry.body["from_ms"], entry.body["to_ms"]) == (
        entries.NOTE, "two cylinders came", 5, 9)  # fmt: skip
    assert entry.body["note"].startswith("Handover, Lakeside (invented), all wards")
    with pytest.raises(Refused):
        handed_over(note, "x", "", 5, Person(" ", "ward"), 9)


@pytest.mark.parametrize("status", [{}, {"heard_s_ago": 120.0}])
def test_the_screen_alarming_and_stale(screen, bad_hour, status):
    bad_hour.say(**status)
    said = seen(screen("handover"))
    assert "Stands now" in said
    assert said.count("NOT LIVE") == (2 if status else 0)


def test_it_is_handed_over_on_the_screen_and_found_again(screen, hospital):
    one = hospital(text=upkeep_text())
    app = screen("handover")
    app.text_area(key="handover-own").set_value("two cylinders came").run()
    app.selectbox(key="crew-name").set_value("Ward nurse").run()
    next(button for button in app.button if button.label.startswith("Hand over")).click()
    app.run()
    assert "handover written down by Ward nurse (ward)" in seen(app)
    rows = earlier(queries.journal(one.data_dir, kinds=(entries.NOTE,)), "")
    assert [(row.who, row.body["text"]) for row in rows] == [("Ward nurse", "two cylinders came")]
    assert any("Ward nurse (ward)" in box.label for box in app.expander)


def test_an_empty_hospital_has_an_empty_note(screen, hospital):
    hospital(text='[facility]\nid = "sim-empty"\n', minutes=0)
    assert "Nothing." in seen(screen("handover"))
