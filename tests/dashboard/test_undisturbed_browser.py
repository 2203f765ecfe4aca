"""A page that refreshes itself leaves people alone: a list that is open stays open, and what is typed goes on."""

import time
from contextlib import ExitStack

import pytest
from playwright.sync_api import expect

from tests.browser.hands import choose, open_list, settled, write
from tests.dashboard.hospital import MINUTE, Hospital, troubled
from tests.dashboard.test_browser import beat_of, browser, kept_alive, page_of, redrawn, serving
from tests.dashboard.upkeep import upkeep_text
from tests.dashboard.ward import LiveWards

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["browser"]  # a fixture is found by its name

#: Longer than the slowest refresh of these pages.
LONG_MS = 16_000


@pytest.fixture(scope="module")
def ward(tmp_path_factory):
    folder = tmp_path_factory.mktemp("undisturbed")
    wards = LiveWards(folder)
    wards.alarm("unit-31", "flow-above-ward-limit")
    wards.alarm("unit-33", "flow-above-ward-limit")
    with wards.living(), serving(wards.data_dir, folder / "log") as (url, _):
        yield wards, url


def comes(page, wards, unit):
    """An alarm is raised that stands above all others, and the page shows it."""
    wards.alarm(unit, "purity-red")
    expect(page.locator(f"[class*='st-key-alarm-{unit}--purity-red']")).to_be_visible()
    settled(page)


def test_lists_stay_open_while_pages_refresh_themselves(browser, tmp_path):
    one = Hospital(tmp_path / "data", upkeep_text(10), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, troubled)
    with kept_alive(one), serving(one.data_dir, tmp_path / "log") as (url, _), ExitStack() as pages:
        opened = []
        for path, label in (("alarms", "Ward"), ("unit?unit=unit-03", "Unit"), ("backup", "Ward"), ("units", "Ward")):
            page = pages.enter_context(page_of(browser, 1366, 768))
            page.goto(f"{url}/{path}")
            box = page.get_by_role("combobox", name=label, exact=True)
            open_list(page, box)
            opened.append((path, page, box, beat_of(page)))
        for path, page, box, beat in opened:
            redrawn(page, LONG_MS, since=beat)
            settled(page)
            assert box.get_attribute("aria-expanded") == "true", path
    one.store.close()


def test_a_new_alarm_closes_no_list_and_takes_no_words(browser, ward):
    wards, url = ward
    with page_of(browser, 1366, 1000) as page:
        page.goto(f"{url}/alarms")
        box = page.get_by_role("combobox", name="Taken out for", exact=True)
        open_list(page, box)
        comes(page, wards, "unit-20")
        assert box.get_attribute("aria-expanded") == "true"
        page.keyboard.press("Escape")
        why = page.get_by_role("textbox", name="Why", exact=True)
        why.press_sequentially("lent to")
        comes(page, wards, "unit-21")
        page.keyboard.type(" the clinic")
        expect(why).to_have_value("lent to the clinic")


def test_a_new_alarm_leaves_the_form_of_another_one_as_it_is(browser, ward):
    """An alarm is put aside for one unit: the form must neither close nor go over to the unit that is new."""
    wards, url = ward
    with page_of(browser, 1366, 1000) as page:
        page.goto(f"{url}/alarms")
        write(page, "Your name", "N. Example")
        page.locator("[class*='st-key-alarm-unit-31']").get_by_role("button", name="Put aside").click()
        form = page.locator("[data-testid=stPopoverBody]")
        form.get_by_label("Why", exact=True).press_sequentially("asked for")
        comes(page, wards, "unit-22")
        expect(form.get_by_label("Why", exact=True)).to_have_value("asked for")
        box = form.get_by_role("combobox", name="For how long", exact=True)
        choose(page, "For how long", "30 min", within=form)
        comes(page, wards, "unit-24")
        expect(box).to_have_value("30 min")
        form.get_by_role("button", name="Put aside", exact=True).click()
        expect(page.get_by_text("of unit-31 put aside until").filter(has_text="N. Example")).to_be_visible()
