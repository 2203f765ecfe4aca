"""A whole night by the people in it: a unit falls, its nurse and its engineer act on their screens, the plan moves on.

Time stands still while somebody acts (`night_house.py`), so no step hangs on being seen within a time.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, Playwright, expect, sync_playwright

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.store.history import open_reader
from collector.store.journal import verify
from tests.browser.chromium import launch
from tests.browser.hands import choose, settled
from tests.browser.night_house import SLOW_S, House, at_evening
from tests.browser.pages import is_drawn
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]

UNIT, WARD, SPARE = "heron", "medical", "crane"
NURSE, ENGINEER, PLANNER = "Nurse in charge, Medical", "Biomedical engineer", "Maintenance planner"
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
SLOW_MS = SLOW_S * 1000
#: Between the first word of the shut-off and the shut-off: enough to fetch a cylinder and change over.
LEAD_MS = 20 * 60_000


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with at_evening(tmp_path) as one:
        yield one


class Screen:
    """Somebody's own screen: its browser does not know who holds it until that is said."""

    def __init__(self, house: House, page: Page, who: str) -> None:
        self.house, self.page, self.who = house, page, who

    def go(self, path: str, says: str = "") -> None:
        """Open a page, until it stands."""
        self.page.goto(f"{self.house.url}/{path}")
        is_drawn(self.page, says, SLOW_MS)
        settled(self.page)

    def is_me(self, within: Locator | None = None) -> None:
        """Say who holds this screen, where it does not know yet."""
        if (within or self.page).get_by_role("combobox", name="Who", exact=True).input_value() != self.who:
            choose(self.page, "Who", self.who, within=within)

    def do(self, what: str) -> Locator:
        """Choose what is to be done with the unit; its form."""
        settled(self.page)
        self.page.locator(f".st-key-do-{UNIT}").get_by_text(what, exact=True).click()
        form = self.page.locator(".st-key-doing")
        expect(form).to_be_visible(timeout=SLOW_MS)
        self.is_me(form)
        return form

    def press(self, label: str, within: Locator | None = None) -> None:
        settled(self.page)
        (within or self.page).get_by_role("button", name=label, exact=True).click()

    def sees(self, text: str | re.Pattern[str]) -> None:
        expect(self.page.get_by_text(text).first).to_be_visible(timeout=SLOW_MS)

    def written(self, kind: str, count: int = 1, unit: str = UNIT) -> JournalRow:
        """The newest of so many rows that people wrote tonight of the unit, once they are there; it is mine."""
        wait_for(lambda: len(self.house.rows(kind, unit)) >= count, SLOW_S, f"{count} of {kind}")
        found = self.house.rows(kind, unit)
        assert len(found) == count
        assert found[-1].who == self.who
        return found[-1]


@contextmanager
def screen(playwright: Playwright, house: House, who: str, size: dict[str, int]) -> Iterator[Screen]:
    """A person's screen, closed at the end."""
    with launch(playwright, viewport=size) as page:
        yield Screen(house, page, who)


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


def test_a_night_from_the_first_warning_to_the_planner_s_next_week(house: House) -> None:
    with sync_playwright() as playwright:
        with screen(playwright, house, NURSE, PHONE) as nurse:
            nurse_is_told(house, nurse)
            nurse_changes_over(house, nurse)
        with screen(playwright, house, ENGINEER, DESK) as engineer:
            engineer_takes_it_out(house, engineer)
    check_the_record(house)


def check_the_record(house: House) -> None:
    """The journal is whole, and the shut-off was told in time."""
    conn = open_reader(house.data)
    try:
        assert verify(conn).ok
    finally:
        conn.close()
    told, off = house.told("shutdown-expected", unit=UNIT)[0], house.told("purity-shutdown", unit=UNIT)[0]
    assert off.at_ms - told.at_ms >= LEAD_MS
