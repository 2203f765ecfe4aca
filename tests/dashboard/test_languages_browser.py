"""Languages in a real browser: French by the address and kept, right to left without a scroll, on a phone."""

import os
import time

import pytest
from playwright.sync_api import expect

from collector.tongue import catalogues
from tests.browser.hands import patient, settled
from tests.dashboard.hospital import MINUTE, Hospital, site_text, troubled
from tests.dashboard.test_browser import browser, kept_alive, page_of, serving
from tests.made_tongues import write_tongue

pytestmark = [pytest.mark.browser, pytest.mark.slow]

__all__ = ["browser"]
PAGES = ("", "unit?unit=unit-03", "alarms", "backup", "due", "units", "data", "about", "?ward=newborn")


@pytest.fixture(scope="module")
def dashboard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("languages")
    write_tongue(folder / "tongues", "he")
    one = Hospital(folder / "data", site_text(24), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, troubled)
    one.say()
    os.environ[catalogues.OWN_ENV] = str(folder / "tongues")
    try:
        with serving(folder / "data", folder / "log") as (url, _), kept_alive(one):
            yield url
    finally:
        del os.environ[catalogues.OWN_ENV]
        one.store.close()


def root(page):
    """The language and the direction that the page says it has, and how much wider than the window it is."""
    return page.evaluate("""() => [document.documentElement.lang, document.documentElement.dir,
        document.documentElement.scrollWidth - document.documentElement.clientWidth]""")


def test_french_is_told_kept_and_left_again(dashboard, browser):
    with page_of(browser, 1280, 800) as page:
        page.goto(f"{dashboard}/?lang=fr")
        expect(page.get_by_text("En marche").first).to_be_visible()
        assert root(page)[:2] == ["fr", "ltr"]
        page.goto(f"{dashboard}/alarms")  # the choice is kept on the device
        expect(page.get_by_text("Acquitter").first).to_be_visible()
        settled(page)
        expect(page.get_by_text("Acknowledge", exact=True)).to_have_count(0)
        page.goto(f"{dashboard}/?lang=en")
        expect(page.get_by_text("Running").first).to_be_visible()


def test_a_browser_s_own_language_is_told(dashboard, browser):
    context = browser.new_context(locale="fr-BE")
    page = patient(context.new_page())
    page.goto(dashboard)
    expect(page.get_by_text("En marche").first).to_be_visible()
    context.close()


@pytest.mark.parametrize("where", PAGES)
def test_right_to_left_fits_a_phone(dashboard, browser, where):
    with page_of(browser, 360, 740, watched=False) as page:
        page.goto(f"{dashboard}/{where}{'&' if '?' in where else '?'}lang=he")
        expect(page.locator("html")).to_have_attribute("dir", "rtl")
        expect(page.locator(".sw-strip, #sw-wall").first).to_be_attached()
        page.wait_for_load_state("networkidle")
        settled(page)
        language, way, wider = root(page)
        assert (language, way) == ("he", "rtl")
        assert wider <= 0, f"{where} is {wider} px wider than a phone"
        if folder := os.environ.get("SHOTS"):
            page.screenshot(
                path=f"{folder}/he-{where.split('?')[0] or 'board'}{'-ward' if 'ward' in where else ''}.png"
            )
