"""Every action of a unit's page on a phone, its taps counted, against a real collector; and what takes each back.

Not counted: what the record itself needs (who, where to, with which unit, the figure of a gauge).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Error, Locator, Page, expect, sync_playwright

from collector.broker import start_nats
from collector.rules import entries
from collector.site import load_site
from collector.store.journal import verify
from dashboard import queries
from tests.browser.chromium import launch
from tests.browser.pages import is_drawn
from tests.browser.test_first_use import connected, running
from tests.dashboard.hospital import MINUTE, Hospital, troubled
from tests.dashboard.test_browser import serving
from tests.dashboard.upkeep import upkeep_text
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SLOW_MS = 60_000
UNIT = "unit-03"  # it fails, and its ward has a cylinder


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[str, Path, Path]]:
    """A hospital whose collector is at work: the dashboard's address, its data, its site file."""
    site = tmp_path / "site.toml"
    site.write_text(upkeep_text(10))
    one = Hospital(tmp_path / "data", upkeep_text(10), queries.wall_ms() - 40 * MINUTE)
    one.play(40, troubled)
    one.store.close()
    with ExitStack() as stack:
        broker = stack.enter_context(start_nats(tmp_path / "broker"))
        words = ("collect", "--site", site, "--data", one.data_dir, "--broker", f"{broker.host}:{broker.port}")
        stack.enter_context(running(tmp_path / "collector", *words))
        wait_for(lambda: connected(one.data_dir), 60, "the collector")
        url, _ = stack.enter_context(serving(one.data_dir, tmp_path / "dashboard"))
        yield url, one.data_dir, site


class Thumb:
    """Taps on a unit's page, counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps = page, 0

    def tap(self, found: Locator) -> None:
        found.click(timeout=SLOW_MS)
        self.taps += 1

    def open(self, what: str) -> Locator:
        """Choose what is to be done; its form."""
        self.taps = 0
        self.tap(self.page.locator(f".st-key-do-{UNIT}").get_by_text(what, exact=True))
        form = self.page.locator(".st-key-doing")
        expect(form).to_be_visible(timeout=SLOW_MS)
        return form

    def done(self, form: Locator, label: str, says: str) -> int:
        """Press the form's button; what it says must stand there. Returns the taps."""
        self.tap(form.get_by_role("button", name=label, exact=True))
        expect(self.page.get_by_text(says).first).to_be_visible(timeout=SLOW_MS)
        return self.taps

    def undo(self) -> None:
        """Take back what stands uppermost, once that is offered."""
        before = self.page.get_by_text("Taken back.").count()
        self.page.get_by_role("button", name="Undo", exact=True).first.click(timeout=SLOW_MS)
        expect(self.page.get_by_text("Taken back.")).to_have_count(before + 1, timeout=SLOW_MS)


def choose(page: Page, box: Locator, option: str) -> None:
    """Choose in a select box; a run of the page meanwhile closes its list, then it is opened again."""

    def chosen() -> bool:
        try:
            box.click(timeout=5_000)
            page.get_by_role("option", name=option).first.click(timeout=5_000)
        except Error:
            return False
        return True

    wait_for(chosen, 60, f"the choice of {option}")


def act_on_all(thumb: Thumb, page: Page) -> dict[str, int]:
    """Every action once, those that can be taken back are; the taps of each."""
    taps = {}
    form = thumb.open("Acknowledge")
    choose(page, form.get_by_label("Who"), "Hospital engineer")
    button = form.get_by_role("button", name="Acknowledge: ").first
    thumb.tap(button)
    expect(page.get_by_text("acknowledged by Hospital engineer").first).to_be_visible(timeout=SLOW_MS)
    taps["acknowledge"] = thumb.taps
    form = thumb.open("Put aside")
    form.get_by_label("Why").fill("second source fitted")
    taps["put aside"] = thumb.done(form, "Put aside", "put aside until")
    thumb.undo()
    form = thumb.open("Move")
    form.get_by_text("Surgical", exact=True).click()
    taps["move"] = thumb.done(form, "Move it", f"{UNIT} from Medical to Surgical by Hospital engineer")
    thumb.undo()
    form = thumb.open("Swap")
    choose(page, form.get_by_label("With which unit"), "unit-08")
    taps["swap"] = thumb.done(form, "Swap them", f"{UNIT} to Surgical and unit-08 to Medical by Hospital engineer")
    thumb.undo()
    form = thumb.open("Take out")
    taps["take out"] = thumb.done(form, "Take it out of service", f"{UNIT} taken out of service by Hospital engineer")
    thumb.undo()
    form = thumb.open("Read a gauge")
    form.get_by_label("It shows").fill("120")
    taps["gauge"] = thumb.done(form, "Write it down", "120 bar, written down by Hospital engineer")
    return taps


def rows_of(data: Path, seen: Callable[[entries.JournalRow], bool]) -> list[entries.JournalRow]:
    return sorted((row for row in queries.journal(data, limit=2_000) if seen(row)), key=lambda row: row.seq)


def test_every_action_takes_two_taps_on_a_phone_and_is_taken_back(house: tuple[str, Path, Path]) -> None:
    url, data, site_file = house
    with sync_playwright() as playwright, launch(playwright, viewport={"width": 360, "height": 740}) as page:
        page.goto(f"{url}/unit?unit={UNIT}")
        is_drawn(page, UNIT, SLOW_MS)
        taps = act_on_all(Thumb(page), page)
        width = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert width[0] <= width[1]
    assert taps == dict.fromkeys(("acknowledge", "put aside", "move", "swap", "take out", "gauge"), 2)
    changes = rows_of(data, lambda row: row.kind == entries.SITE_CHANGE)
    assert [(row.body["do"], "undoes" in row.body) for row in changes] == [
        ("move", False), ("move", True), ("swap", False), ("swap", True),
    ]  # fmt: skip
    answers = rows_of(data, lambda row: row.kind == entries.SITE_CHANGED)
    assert [row.body["result"] for row in answers] == ["made"] * 4
    assert load_site(site_file).ward_of(UNIT).id == "medical"
    assert UNIT not in queries.now(data).out_of_service
    with queries.reader(data) as conn:
        assert verify(conn).ok
