"""The engineer's pages in a real browser: 500 units in time, and every page on a phone."""

import time

import pytest
from playwright.sync_api import expect

from tests.browser.hands import settled, write
from tests.dashboard.hospital import MINUTE, Hospital, good, troubled
from tests.dashboard.test_browser import ARGS, HERE, browser, kept_alive, page_of, serving, size
from tests.dashboard.upkeep import upkeep_text

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["ARGS", "HERE", "browser"]  # a fixture is found by its name

PAGES = {
    "units": "Needs attention", "handover": "Stands now", "review": "Most frequent", "power": "Worst hours",
    "compare?units=unit-03,unit-07,unit-09": "The same in numbers", "sensors": "Bridges",
}  # fmt: skip


@pytest.fixture(scope="module")
def bad_place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("engineer")
    one = Hospital(folder / "data", upkeep_text(24), time.time_ns() // 1_000_000 - 70 * MINUTE)
    one.play(30, good)
    one.play(40, troubled)
    while one.store.roll_up(one.now_ms):
        pass
    with kept_alive(one), serving(one.data_dir, folder / "log") as (url, _):
        yield one, url
    one.store.close()


@pytest.mark.parametrize(("path", "says"), PAGES.items())
def test_each_page_fits_a_phone(browser, bad_place, path, says):
    _, url = bad_place
    with page_of(browser, 360, 740) as page:
        page.goto(f"{url}/{path}")
        expect(page.get_by_text(says).first).to_be_visible()
        settled(page)
        _, _, whole, shown = size(page)
        assert whole <= shown


@pytest.fixture(scope="module")
def large_place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("large")
    one = Hospital(folder / "data", upkeep_text(500, per_ward=25), time.time_ns() // 1_000_000 - 2 * MINUTE)
    one.play(2, good)
    with kept_alive(one), serving(one.data_dir, folder / "log") as (url, _):
        yield url
    one.store.close()


def test_five_hundred_units_are_narrowed_and_lead_to_their_own_page(browser, large_place):
    with page_of(browser, 1280, 800) as page:
        page.goto(f"{large_place}/units")
        expect(page.locator(".sw-sheet tbody tr")).to_have_count(500)
        write(page, "Find", "unit-123")
        expect(page.get_by_text("1 of 500 units")).to_be_visible()
        expect(page.locator(".sw-sheet tbody tr")).to_have_count(1)
        page.locator(".sw-sheet a").first.click()
        expect(page).to_have_url(f"{large_place}/unit?unit=unit-123")
