"""Every page against WCAG 2.2 A and AA, as far as axe-core can tell, and on a phone: what fits, what a thumb can hit.

Outside sources: the rules of axe-core (npm); WCAG 2.2, 1.4.10 (reflow) and 2.5.8 (24 by 24 CSS pixels), W3C.
"""

import time

import pytest
from playwright.sync_api import expect

from collector.people import codes
from collector.people.rights import ROLES
from tests.browser.axe import faults
from tests.browser.pages import PAGES, WALL, bad_hours, is_drawn, served
from tests.dashboard.hospital import MINUTE, Hospital, site_text, troubled
from tests.dashboard.test_browser import browser, page_of
from tests.dashboard.test_signin_browser import ME, PASSWORD, add, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["browser"]  # a fixture is found by its name

EVERY = [*PAGES, WALL]
#: Parts of a page that stick out of the screen to the right, and are not within a part that scrolls by itself.
SPILT = """() => { const main = document.querySelector('[data-testid=stMain]') ?? document.body;
    const wide = [document.documentElement, main].filter(n => n.scrollWidth > n.clientWidth + 1).map(n => n.tagName);
    const scrolls = n => n && n !== main && (getComputedStyle(n).overflowX !== 'visible' || scrolls(n.parentElement));
    return wide.concat([...main.querySelectorAll('*')].filter(n => n.checkVisibility() && n.clientWidth > 1
        && n.getBoundingClientRect().right > innerWidth + 10 && !scrolls(n.parentElement))
      .map(n => n.outerHTML.slice(0, 120))); }"""
#: What can be tapped and is smaller than 24 by 24; a link in a sentence and a box within a large label are let off.
SMALL = """() => [...document.querySelectorAll('a, button, input, select, summary, [role=button], [role=spinbutton]')]
    .filter(n => n.checkVisibility({opacityProperty: true, visibilityProperty: true}))
    .filter(n => !(n.tagName === 'A' && n.closest('[data-testid=stCaptionContainer]')))
    .map(n => [n, (n.tagName === 'INPUT' && n.closest('label') || n).getBoundingClientRect()])
    .filter(([n, b]) => b.width > 1 && b.height > 1 && (b.width < 23.5 || b.height < 23.5))
    .map(([n, b]) => `${n.outerHTML.slice(0, 100)} ${b.width} x ${b.height}`)"""

#: What has the keyboard's focus: its text, whether it can be seen, whether it looks otherwise than without the focus.
FOCUSED = """() => { const n = document.activeElement;
    const over = (e, steps) => steps && e ? [e, ...over(e.parentElement, steps - 1)] : [];
    const near = [...over(n, 5), ...[...n.querySelectorAll('*')].slice(0, 20)];
    const done = () => { near[0].offsetWidth; document.getAnimations().forEach(a => a.playState === 'running' &&
      a.effect.getComputedTiming().endTime !== Infinity && a.finish()); return near; };
    const look = s => [s.outline, s.boxShadow, s.borderColor, s.backgroundColor, s.transform, s.textDecoration].join();
    const looks = () => done().map(e => look(getComputedStyle(e))).join();
    const held = looks(); n.blur(); const bare = looks(); n.focus({focusVisible: true});
    return [n.textContent.trim().slice(0, 40) || n.ariaLabel || n.tagName, n.checkVisibility(), held !== bare]; }"""


def grave(page):
    """Serious and critical faults, in words. None is let off: board.css and watch.js mend what Streamlit draws."""
    return [f"{one.rule}: {one.target}\n{one.html}\n{one.why}" for one in faults(page)]


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("accessible")
    with served(bad_hours(folder), folder) as url:
        yield url


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault_on_any_page(browser, place, scheme):
    with page_of(browser, 1280, 800, scheme) as page:
        for path in EVERY:
            page.goto(f"{place}/{path}")
            is_drawn(page, PAGES.get(path, ""))
            assert grave(page) == [], path or "board"


def test_on_a_phone_every_page_fits_can_be_hit_and_has_no_serious_fault(browser, place):
    with page_of(browser, 360, 740) as page:
        for path in EVERY:
            page.goto(f"{place}/{path}")
            is_drawn(page, PAGES.get(path, ""))
            assert page.evaluate(SPILT) == [], path or "board"
            assert page.evaluate(SMALL) == [], path or "board"
            assert grave(page) == [], path or "board"


def test_the_list_of_pages_on_a_phone_has_no_serious_fault(browser, place):
    with page_of(browser, 360, 740) as page:
        page.goto(place)
        is_drawn(page, PAGES[""])
        page.get_by_test_id("stExpandSidebarButton").click()
        expect(page.get_by_test_id("stSidebarNavLink").first).to_be_in_viewport()
        expect(page.locator("[data-testid=stSidebarNavItems] div[role=list]").first).to_be_attached()
        assert grave(page) == []


def test_the_checker_tells_a_fault(browser, place):
    """A check of the check: grey on grey and a picture without words are found."""
    with page_of(browser, 1280, 800) as page:
        page.goto(f"{place}/about")
        is_drawn(page, PAGES["about"])
        bad = "<p style='color:#999;background:#aaa'>faint</p><img src='data:,'>"
        page.evaluate("bad => document.querySelector('h2').insertAdjacentHTML('afterend', bad)", bad)
        assert {one.rule for one in faults(page)} == {"color-contrast", "image-alt"}


def test_the_keyboard_comes_to_the_pages_and_to_what_is_on_them_and_sees_where_it_is(browser, place):
    """The first stop skips to the page itself, and what has the focus is seen and marked (WCAG 2.4.1, 2.4.7)."""
    with page_of(browser, 1280, 800) as page:
        page.goto(f"{place}/alarms")
        is_drawn(page, PAGES["alarms"])
        seen = []
        for _ in range(14):
            page.keyboard.press("Tab")
            seen.append(page.evaluate(FOCUSED))
        assert "Skip to main content" in seen[0][0]
        assert [text for text, visible, marked in seen if not (visible and marked)] == []
        assert any("Handover" in text for text, *_ in seen)


@pytest.fixture(scope="module")
def guarded(tmp_path_factory):
    """A facility whose people sign in: one of each role; and its code for a first administrator while it had nobody."""
    folder = tmp_path_factory.mktemp("guarded")
    one = Hospital(folder / "data", site_text(10, facility="lakeside"), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, troubled)
    with served(one, folder) as url:
        yield one.data_dir, url


def test_whoever_comes_in_meets_no_serious_fault(browser, guarded):
    """The first administrator's page, then signing in, then the pages that differ by role."""
    data_dir, url = guarded
    codes.first_code(data_dir, ME)
    with page_of(browser, 1280, 800) as page:
        page.goto(url)
        expect(page.locator("[name=code]")).to_be_visible()
        assert grave(page) == []
    for role in ROLES:
        add(data_dir, role[:5], role, PASSWORD, ["medical"] if role == "ward" else ())
    for scheme, role in zip(["dark", "light"] * len(ROLES), ROLES, strict=False):
        with page_of(browser, 1280, 800, scheme) as page:
            page.goto(url)
            expect(page.locator("form[action='/session/in']")).to_be_visible()
            assert grave(page) == []
            sign_in(page, url, role[:5], PASSWORD)
            expect(page.locator("a.sw-tile")).to_have_count(10)
            for path in ("alarms", "unit?unit=unit-03", "account", *(["people"] if role == "administrator" else [])):
                page.goto(f"{url}/{path}")
                is_drawn(page)
                assert grave(page) == [], (role, path)
