"""Screens of the night's people: each has a browser of its own, which does not know who holds it until that is said."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Locator, Page, Playwright, expect

from collector.rules.entries import JournalRow
from tests.browser.chromium import launch
from tests.browser.hands import choose, settled
from tests.browser.night_house import SLOW_S, House
from tests.browser.pages import is_drawn
from tests.waiting import wait_for

UNIT = "heron"  # the unit that falls
SLOW_MS = SLOW_S * 1000


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

    def do(self, what: str, unit: str = UNIT) -> Locator:
        """Choose what is to be done with the unit; its form."""
        settled(self.page)
        self.page.locator(f".st-key-do-{unit}").get_by_text(what, exact=True).click()
        form = self.page.locator(".st-key-doing")
        expect(form).to_be_visible(timeout=SLOW_MS)
        self.is_me(form)
        return form

    def press(self, label: str, within: Locator | None = None) -> None:
        settled(self.page)
        (within or self.page).get_by_role("button", name=label, exact=True).click()

    def row(self, text: str) -> Locator:
        """The unit's rows of the page's tables in which a text stands."""
        return self.page.locator("tr", has_text=UNIT).filter(has_text=text)

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
