"""Every page in every state, at a desk and on a phone: it fits, no error is on it, nothing old is shown as good."""

import time
from contextlib import ExitStack, suppress

import pytest
from playwright.sync_api import expect

from tests.browser.pages import PAGES, WALL, bad_hours, is_drawn
from tests.dashboard.hospital import MINUTE, Hospital, good
from tests.dashboard.test_browser import browser, kept_alive, page_of, serving
from tests.dashboard.upkeep import upkeep_text
from tests.waiting import wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["browser"]  # a fixture is found by its name

EVERY = [*PAGES, "first", "story", WALL]
STATES = ("no units", "no readings", "normal", "alarming", "stale")
#: Words over every page while what it shows is not live; none in the other states.
NOT_LIVE = "NOT LIVE"
SETTLES_S = 20.0
#: Streamlit's boxes of errors, of exceptions and of a page that is not there.
BOXES = "[data-testid=stException], [data-testid=stAlertContentError], [data-testid=stDialog]"
#: Texts of Python that have no business on a page.
TRACES = ("Traceback", "Error:", "None ", "nan ", "NaN")
#: Buttons and short labels whose words are wider than they are.
CUT = """() => [...document.querySelectorAll('button, .sw-tile b, .sw-chip, h1, h2, h3')]
    .filter(n => n.checkVisibility() && n.clientWidth > 1 && n.scrollWidth > n.clientWidth + 2)
    .map(n => n.outerHTML.slice(0, 160))"""


#: Parts that stick out of the screen to the right and are not within a part that scrolls by itself; hidden holders of a
#: script have a width and no height.
SPILT = """() => { const main = document.querySelector('[data-testid=stMain]') ?? document.body;
    const wide = [document.documentElement, main].filter(n => n.scrollWidth > n.clientWidth + 1).map(n => n.tagName);
    const scrolls = n => n && n !== main && (getComputedStyle(n).overflowX !== 'visible' || scrolls(n.parentElement));
    return wide.concat([...main.querySelectorAll('*')].filter(n => n.checkVisibility() && n.clientWidth > 1
        && n.clientHeight > 1 && n.getBoundingClientRect().right > innerWidth + 10 && !scrolls(n.parentElement))
      .map(n => `sticks out: ${n.outerHTML.slice(0, 160)}`)); }"""


def hospital(state, folder):
    """A hospital in that state, that its dashboard may show."""
    if state == "alarming":
        return bad_hours(folder)
    start_ms = time.time_ns() // 1_000_000 - 40 * MINUTE
    nothing = '[facility]\nid = "sim-lakeside"\nname = "Lakeside (invented)"\n'
    one = Hospital(folder / "data", nothing if state == "no units" else upkeep_text(24), start_ms)
    if state in ("normal", "stale"):
        one.play(40, good)
    return one


@pytest.fixture(scope="module", params=STATES)
def place(request, tmp_path_factory):
    """One dashboard for all pages of a state; yields the state and its address."""
    folder = tmp_path_factory.mktemp("state")
    one = hospital(request.param, folder)
    with ExitStack() as stack:
        if request.param == "stale":
            one.say(heard_s_ago=600.0)
        else:
            stack.enter_context(kept_alive(one))
        url, _ = stack.enter_context(serving(one.data_dir, folder / "log"))
        yield request.param, url, folder / "log"
    one.store.close()


def wrong(page, state):
    """What is wrong on a page that is drawn, in words."""
    said = page.locator("body").inner_text()
    found = [f"says {trace!r}" for trace in TRACES if trace in said]
    found += [f"box: {text}" for text in page.locator(BOXES).all_inner_texts()]
    if (NOT_LIVE in said.upper()) != (state == "stale"):
        found.append("does not say that it is not live" if state == "stale" else "says that it is not live")
    return found + [f"cut: {html}" for html in page.evaluate(CUT)]


def faults_on(page, state):
    """What is still wrong after a while: charts follow a new width, and a late heartbeat is soon made up for."""
    found = ["not looked at"]
    if state == "stale" and NOT_LIVE not in page.locator("body").inner_text().upper():
        return ["does not say at once that it is not live"]

    def none_left():
        found[:] = wrong(page, state) + page.evaluate(SPILT)
        return not found

    with suppress(AssertionError):
        wait_for(none_left, SETTLES_S, "a page without faults")
    return found


def test_every_page_stands_in_every_state(browser, place):
    state, url, log = place
    found = {}
    with page_of(browser, 1280, 800) as page:
        for path in EVERY:
            page.set_viewport_size({"width": 1280, "height": 800})
            page.goto(f"{url}/{path}")
            is_drawn(page, PAGES.get(path, "") if state == "alarming" else "", 60_000)
            found[path] = faults_on(page, state)
            if path == WALL:
                continue  # a ward's screen hangs on a wall; on a phone it is the board of that ward
            page.set_viewport_size({"width": 360, "height": 740})
            page.wait_for_function("innerWidth === 360")
            found[path] += [f"on a phone: {one}" for one in faults_on(page, state)]
    assert {path: faults for path, faults in found.items() if faults} == {}
    assert "Traceback" not in log.read_text(errors="replace")


def test_no_unit_is_shown_as_good_while_nothing_is_known_of_it(browser, place):
    """Without readings, or without a collector, every tile is grey or without data; while all is well they are not."""
    state, url, _ = place
    if state == "no units":
        return
    with page_of(browser, 1280, 800) as page:
        page.goto(url)
        is_drawn(page, timeout_ms=60_000)
        expect(page.locator("a.sw-tile")).to_have_count(24)
        known = page.locator("a.sw-tile:not(.sw-stale):not(.sw-greyed):not(.sw-out)").all_inner_texts()
        assert bool(known) == (state in ("normal", "alarming")), known
