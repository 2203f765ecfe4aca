"""A whole night by the people in it: a unit falls, its nurse and its engineer act on their screens, the plan moves on.

Time stands still while somebody acts (`night_house.py`), so no step hangs on being seen within a time.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from playwright.sync_api import expect, sync_playwright

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.store.history import open_reader
from collector.store.journal import verify
from tests.browser.hands import choose, running_anew, settled
from tests.browser.night_house import SLOW_S, House, at_evening
from tests.browser.night_people import SLOW_MS, UNIT, Screen, screen
from tests.browser.test_demo import Signals
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WARD, SPARE = "medical", "crane"
NURSE, ENGINEER, PLANNER = "Nurse in charge, Medical", "Biomedical engineer", "Maintenance planner"
THEIR_NURSE = "Nurse in charge, Surgery and recovery"  # of the ward without power
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
#: Between the first word of the shut-off and the shut-off: enough to fetch a cylinder and change over.
LEAD_MS = 20 * 60_000
REBUILD, PROOF = "Rebuild the compressor", "Check purity at rated flow"
#: What the journal holds at the end, among much else, in this order.
STORY = (
    (entries.CONDITION, "surgery", "ward-supply-lost raised"), (entries.ACKNOWLEDGE, "surgery", "ward-supply-lost"),
    (entries.CONDITION, UNIT, "shutdown-expected raised"), (entries.CONDITION, "surgery", "ward-supply-lost cleared"),
    (entries.CONDITION, UNIT, "purity-amber raised"), (entries.CONDITION, UNIT, "purity-red raised"),
    (entries.ACKNOWLEDGE, UNIT, "purity-red"), (entries.CYLINDER_READ, WARD, ""),
    (entries.CONDITION, UNIT, "purity-shutdown raised"),
    (entries.OUT_OF_SERVICE, UNIT, ""), (entries.CONDITION, UNIT, "service-due raised"),
    (entries.WORK_OPENED, UNIT, ""), (entries.PURITY_PROOF, UNIT, entries.FAIL),
    (entries.TASK_DONE, UNIT, "compressor-rebuild"),
    (entries.WORK_CLOSED, UNIT, ""), (entries.PURITY_PROOF, UNIT, entries.PASS),
    (entries.RETURN_TO_SERVICE, UNIT, ""),
)  # fmt: skip


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with at_evening(tmp_path) as one:
        yield one


def power_fails_and_returns(house: House, nurse: Screen) -> None:
    """A ward without power is one alarm, which says what to do; it is over when the power is back."""
    house.go_on_until(lambda: house.told("ward-supply-lost", ward="surgery"), "the power to fail", 100)
    nurse.go("", "5 units in the ward have no power. Change over to cylinders now.")
    nurse.go("unit?unit=roller", "Change over to cylinders now.")
    nurse.press("Acknowledge: No power in the ward", nurse.do("Acknowledge", "roller"))
    nurse.sees(f"acknowledged by {nurse.who}")
    row = nurse.written(entries.ACKNOWLEDGE, unit="")
    assert (row.ward, row.condition) == ("surgery", "ward-supply-lost")
    house.go_on_until(lambda: house.told("ward-supply-lost", "cleared", ward="surgery"), "the power to return", 115)
    expect(nurse.page.locator("#tile-roller")).not_to_contain_text("no power", timeout=SLOW_MS)


def nurse_is_told(house: House, nurse: Screen) -> None:
    """Long before it is off it is said on her phone, with what to change over to and where that stands."""
    house.go_on_until(lambda: house.told("shutdown-expected", unit=UNIT), "the shut-off to be foretold", 130)
    assert not house.told("purity-amber", unit=UNIT)
    nurse.go(f"unit?unit={UNIT}", "If it has to be changed over")
    tile = nurse.page.locator(f"#tile-{UNIT}")
    expect(tile).to_contain_text(re.compile("expected (in|within) [0-9]"), timeout=SLOW_MS)
    card = nurse.page.locator("section.sw-panel", has_text="If it has to be changed over").locator(".sw-good-for")
    expect(card).to_contain_text("Change over to cylinder medical-1 (Oxygen bay at the entrance): lasts about")
    expect(card).to_contain_text(f"Then to spare unit {SPARE}")


def nurse_changes_over(house: House, nurse: Screen) -> None:
    """It is red: she says that she knows, and changes over."""
    house.go_on_until(lambda: house.told("purity-red", unit=UNIT), "red", 160)
    tile = nurse.page.locator(f"#tile-{UNIT}")
    expect(tile).to_contain_text("Unit output very low", timeout=SLOW_MS)
    expect(tile).to_contain_text("Change over to cylinder medical-1", timeout=SLOW_MS)
    form = nurse.do("Acknowledge")
    nurse.press("Acknowledge: Unit output very low", form)
    nurse.sees("acknowledged by Nurse in charge, Medical")
    row = nurse.written(entries.ACKNOWLEDGE)
    assert (row.role, row.condition) == ("ward", "purity-red")
    form = nurse.do("Read a gauge")  # of the cylinder to which she has changed over
    nurse.page.get_by_label("It shows", exact=True).fill("120")
    nurse.press("Write it down", form)
    nurse.sees(f"120 bar, written down by {NURSE}")
    assert nurse.written(entries.CYLINDER_READ, unit="").body["cylinder"] == "medical-1"
    house.go_on_until(lambda: house.told("purity-shutdown", unit=UNIT), "off", 200)
    expect(tile).to_contain_text("Unit has switched itself off", timeout=SLOW_MS)
    width = nurse.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width[0] <= width[1]


def engineer_takes_it_out(house: House, engineer: Screen) -> str:
    """Out of service, with an order for the work; returns the order."""
    house.go_on(205 - house.minute)
    engineer.go(f"unit?unit={UNIT}", "Purity")
    engineer.press("Take it out of service", engineer.do("Take out"))
    engineer.sees(f"{UNIT} taken out of service by {ENGINEER}")
    engineer.written(entries.OUT_OF_SERVICE)
    wait_for(lambda: house.told("service-due", unit=UNIT), SLOW_S, "the rebuild to be due")
    engineer.go("work", "Checks due after work")
    engineer.is_me()
    box = engineer.page.locator(".st-key-opening")
    box.get_by_text("Open a work order").first.click()
    choose(engineer.page, "Unit", UNIT, within=box)
    choose(engineer.page, "From an alarm", "Unit has switched itself off", within=box)
    engineer.press("Open a work order", box)
    engineer.sees(f"{UNIT}: work order opened")
    opened = engineer.written(entries.WORK_OPENED)
    assert opened.body["condition"] == "purity-shutdown"
    return str(opened.body["work"])


def check(engineer: Screen, found_pct: str, left_pct: str, count: int) -> JournalRow:
    """Write down what the reference analyser showed before the work and after it, in the form that is open."""
    for label, figure in (("Purity as found, %", found_pct), ("Purity as left, %", left_pct)):
        field = engineer.page.get_by_label(label, exact=True)
        field.fill(figure)
        expect(field).to_have_value(figure)
    engineer.press("Write the check down")
    engineer.sees(f"{UNIT}: check written down")
    return engineer.written(entries.PURITY_PROOF, count)


def record(engineer: Screen, task: str) -> None:
    """Choose a task on the unit's page, to be written down."""
    engineer.go(f"unit?unit={UNIT}", "Purity")
    engineer.page.get_by_text("Record a task", exact=True).click()
    engineer.is_me(engineer.page.locator(".st-key-record"))
    settled(engineer.page)
    with running_anew(engineer.page):
        engineer.page.get_by_role("radio", name=re.compile(task)).click()


def give_back(engineer: Screen, order: str, says: str) -> None:
    """Try to return the unit to service, and see what is said to that."""
    engineer.go(f"work?order={order}", "Return to service")
    engineer.is_me()
    form = engineer.page.get_by_test_id("stForm").filter(
        has=engineer.page.get_by_role("button", name="Return to service", exact=True)
    )
    form.get_by_role("textbox", name="Why", exact=True).fill("Repaired and proven")
    engineer.press("Return to service", form)
    engineer.sees(says)


def engineer_proves_it_bad(house: House, engineer: Screen, order: str) -> None:
    """Its purity is measured as it is: too low, and the unit may not return."""
    engineer.go(f"work?order={order}", "Check of purity")
    engineer.is_me()
    proof = check(engineer, "70.5", "81.0", 1)
    assert (proof.body["result"], proof.body["work"]) == (entries.FAIL, order)
    give_back(engineer, order, f"{UNIT} stays out of service: its work order is open")
    assert house.rows(entries.RETURN_TO_SERVICE, UNIT) == []


def engineer_repairs(house: House, engineer: Screen, order: str) -> None:
    """The compressor is rebuilt, the order closed: still no way back, until a check has passed."""
    house.go_on(280 - house.minute)
    record(engineer, REBUILD)
    engineer.press("Done")
    engineer.sees(re.compile("Rebuild the compressor.*: done, written down by"))
    assert engineer.written(entries.TASK_DONE).body["parts"] == {"compressor-kit": 1}
    engineer.go(f"work?order={order}", "Close the order")
    engineer.is_me()
    for label, text in (("Fault found", "Compressor worn"), ("What was done", "Compressor rebuilt")):
        engineer.page.get_by_role("textbox", name=label, exact=True).fill(text)
    engineer.press("Close the order")
    engineer.sees(f"{order}: closed")
    engineer.written(entries.WORK_CLOSED)
    give_back(engineer, order, f"{UNIT} stays out of service: no passed check since")
    assert house.rows(entries.RETURN_TO_SERVICE, UNIT) == []


def engineer_brings_it_back(house: House, engineer: Screen, order: str) -> None:
    """A check that passes, with an analyser that is calibrated: it returns, and gives oxygen again."""
    record(engineer, PROOF)
    proof = check(engineer, "94.5", "94.5", 2)
    assert (proof.body["result"], proof.body["analyser"]) == (entries.PASS, "analyser-workshop")
    give_back(engineer, order, f"{UNIT} returned to service")
    assert engineer.written(entries.RETURN_TO_SERVICE).body["proof"] == proof.seq
    house.go_on(300 - house.minute)
    engineer.go("", UNIT)
    tile = engineer.page.locator(f"#tile-{UNIT}")
    expect(tile).to_contain_text(re.compile(r"9\d\.\d.*proven to 8.0 L/min", re.DOTALL), timeout=SLOW_MS)
    expect(tile).not_to_contain_text(re.compile("switched itself off|output"))
    for condition in ("purity-shutdown", "purity-red", "purity-amber", "shutdown-expected"):
        assert house.told(condition, "cleared", UNIT), condition


def planner_sees_it_due(planner: Screen) -> None:
    """A weak compressor is to be rebuilt: that stands in the list, and in the plan with the check after it."""
    planner.go("due", "Overdue")
    expect(planner.row(REBUILD)).to_contain_text("overdue")
    expect(planner.row(PROOF)).to_contain_text("17 Oct")
    planner.go("visits", "Week of")
    expect(planner.row(PROOF)).to_contain_text(re.compile(f"14 Oct.*{REBUILD}.*planned"))


def planner_sees_it_done(planner: Screen) -> None:
    """It is gone from the list and from the plan; the check of purity is due a whole interval after it was made."""
    planner.go("due", "Later")
    expect(planner.row("Wash and dry the cabinet filter")).to_contain_text("14 Oct")
    expect(planner.row(REBUILD)).to_have_count(0)
    expect(planner.row(PROOF)).to_contain_text("13 Nov")  # 30 days after the check in the night to the 14th of October
    planner.go("visits", "Week of")
    expect(planner.row("Test the unit's own alarms")).to_contain_text("planned")
    expect(planner.row(REBUILD)).to_have_count(0)
    expect(planner.row(PROOF)).to_have_count(0)


def word(row: JournalRow) -> tuple[str, str, str]:
    """A row of the journal in a word: kind, whose it is, and what it says."""
    said = {entries.CONDITION: f"{row.condition} {row.body.get('event')}", entries.TASK_DONE: row.body.get("task"),
            entries.PURITY_PROOF: row.body.get("result")}  # fmt: skip
    return row.kind, row.unit or row.ward, str(said.get(row.kind, row.condition))


def check_the_record(house: House, signals: Signals) -> None:
    """The journal is whole and holds the story in its order; ward and journal were told of the shut-off in time."""
    conn = open_reader(house.data)
    try:
        assert verify(conn).ok
    finally:
        conn.close()
    rows = [word(row) for row in house.rows()]
    assert sorted(STORY, key=rows.index) == list(STORY)
    foretold, off = house.told("shutdown-expected", unit=UNIT)[0], house.told("purity-shutdown", unit=UNIT)[0]
    assert off.at_ms - foretold.at_ms >= LEAD_MS
    told = [signals.told.index(name) for name in ("shutdown-expected", "purity-amber", "purity-red", "purity-shutdown")]
    assert told == sorted(told)


def test_a_night_from_the_first_warning_to_the_planner_s_next_week(house: House) -> None:
    signals = Signals(house.data)
    with closing(signals), sync_playwright() as playwright:
        with screen(playwright, house, THEIR_NURSE, PHONE) as nurse:
            power_fails_and_returns(house, nurse)
        with screen(playwright, house, NURSE, PHONE) as nurse:
            nurse_is_told(house, nurse)
            nurse_changes_over(house, nurse)
        with screen(playwright, house, ENGINEER, DESK) as engineer:
            order = engineer_takes_it_out(house, engineer)
            engineer_proves_it_bad(house, engineer, order)
        with screen(playwright, house, PLANNER, DESK) as planner:
            planner_sees_it_due(planner)
        with screen(playwright, house, ENGINEER, DESK) as engineer:
            engineer_repairs(house, engineer, order)
            engineer_brings_it_back(house, engineer, order)
        with screen(playwright, house, PLANNER, DESK) as planner:
            planner_sees_it_done(planner)
        check_the_record(house, signals)
