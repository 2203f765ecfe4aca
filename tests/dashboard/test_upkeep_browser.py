"""The screens of upkeep in a real browser: on a phone, by touch, in both schemes."""

import time

import pytest
from playwright.sync_api import expect

from collector.rules.entries import CYLINDER_READ, TASK_DONE
from dashboard import queries
from tests.browser.hands import IN_CI, choose, settled
from tests.dashboard.hospital import MINUTE, Hospital, good
from tests.dashboard.test_browser import ARGS, HERE, browser, kept_alive, page_of, serving, size
from tests.dashboard.upkeep import upkeep_text

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["ARGS", "HERE", "browser"]  # a fixture is found by its name

SCREENS = ("/due", "/visits", "/work", "/parts", "/fleet", "/labels", "/backup", "/unit?unit=unit-03")
#: Under this a filter change must be recorded, from opening the page (a scan of its label) to the answer.
#: CI's machine may be three times slower than the one of which this is said.
RECORDED_S = 60.0 if IN_CI else 20.0


@pytest.fixture(scope="module")
def upkeep_hospital(tmp_path_factory):
    folder = tmp_path_factory.mktemp("upkeep")
    one = Hospital(folder / "data", upkeep_text(10), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, good)
    with kept_alive(one), serving(one.data_dir, folder / "log") as (url, _):
        yield one, url
    one.store.close()


class Thumb:
    """Taps as one thumb does, counted; what it taps is scrolled into sight by the browser."""

    def __init__(self, page):
        self.page, self.taps = page, 0

    def tap(self, found):
        settled(self.page)
        found.click()
        self.taps += 1

    def choose(self, label, option):
        """The box, then the option: two taps."""
        choose(self.page, label, option)
        self.taps += 2


def record(page, url, unit, who=""):
    """Scan, choose the task, done; returns taps and seconds."""
    thumb, begun_s = Thumb(page), time.monotonic()
    page.goto(f"{url}/unit?unit={unit}")
    thumb.tap(page.get_by_text("Record a task", exact=True))
    if who:
        thumb.choose("Who", who)
    thumb.tap(page.get_by_role("radio", name="Replace the intake filter"))
    thumb.tap(page.get_by_role("button", name="Done", exact=True))
    expect(page.get_by_text("Replace the intake filter: done, written down by")).to_be_visible()
    return thumb.taps, time.monotonic() - begun_s


def test_a_filter_change_is_recorded_on_a_phone_in_three_taps_and_under_twenty_seconds(browser, upkeep_hospital):
    """Five taps where the phone does not know yet who holds it; the unit's page remembers it on that phone."""
    one, url = upkeep_hospital
    with page_of(browser, 360, 740) as page:
        taps, took_s = record(page, url, "unit-01", "Hospital engineer")
        assert (taps, took_s < RECORDED_S) == (5, True)
        taps, took_s = record(page, url, "unit-02")
        assert (taps, took_s < RECORDED_S) == (3, True)
        _, _, whole, shown = size(page)
        assert whole <= shown
    rows = queries.service_rows(one.data_dir, kinds=(TASK_DONE,))
    assert [(row.unit, row.who, row.role, row.body["task"], row.body["parts"]) for row in rows] == [
        ("unit-01", "Hospital engineer", "engineer", "intake-filter", {"intake-filter": 1}),
        ("unit-02", "Hospital engineer", "engineer", "intake-filter", {"intake-filter": 1}),
    ]


def test_a_gauge_is_read_on_a_phone(browser, upkeep_hospital):
    one, url = upkeep_hospital
    with page_of(browser, 360, 740) as page:
        begun_s = time.monotonic()
        page.goto(f"{url}/backup?ward=medical")
        page.get_by_text("Enter a cylinder's reading", exact=True).click()
        choose(page, "Who", "Ward nurse")
        page.get_by_label("It shows", exact=True).fill("120")
        page.get_by_role("button", name="Write it down", exact=True).click()
        expect(page.get_by_text("120 bar, written down by Ward nurse (ward)")).to_be_visible()
        assert time.monotonic() - begun_s < RECORDED_S
    (row,) = queries.service_rows(one.data_dir, kinds=(CYLINDER_READ,))
    assert (row.who, row.body["kpa"]) == ("Ward nurse", 12_000.0)


@pytest.mark.parametrize("path", SCREENS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_of_upkeep_fits_a_phone(browser, upkeep_hospital, path, scheme):
    _, url = upkeep_hospital
    with page_of(browser, 360, 740, scheme) as page:
        page.goto(url + path)
        expect(page.locator(".sw-simulated")).to_be_visible()
        settled(page)
        _, _, whole, shown = size(page)
        assert whole <= shown


def test_the_screens_stand_in_groups(browser, upkeep_hospital):
    _, url = upkeep_hospital
    with page_of(browser, 1280, 800) as page:
        page.goto(url)
        expect(page.locator(".sw-strip")).to_be_visible()
        settled(page)
        page.get_by_text("Upkeep", exact=True).click()
        page.get_by_text("Work orders", exact=True).click()
        expect(page.get_by_text("Checks due after work")).to_be_visible()
        expect(page).to_have_url(f"{url}/work")


def test_the_labels_come_as_a_pdf(browser, upkeep_hospital):
    _, url = upkeep_hospital
    with page_of(browser, 1280, 800) as page:
        page.goto(f"{url}/labels")
        expect(page.get_by_role("button", name="Labels as PDF")).to_be_visible()
        settled(page)
        with page.expect_download() as got:
            page.get_by_role("button", name="Labels as PDF").click()
        assert got.value.path().read_bytes().startswith(b"%PDF-")
