"""How a test acts in a browser: as patient as the machine is slow, one act after the other, on exact names.

Rules of this file: an act waits for a condition, never for a time. Streamlit draws a page anew while it is used: an
element may be exchanged between look and click, and a list that was open is closed when the page moves under it.
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from playwright.sync_api import Error, Locator, Page, expect
from playwright.sync_api import TimeoutError as WaitedInVain

from tests.waiting import wait_for

#: CI's machines are slower and do other work: what takes long there is no fault. A claim of time is an `assert`.
IN_CI = os.environ.get("CI") == "true"
ACT_MS = 60_000 if IN_CI else 30_000
EXPECT_MS = 60_000 if IN_CI else 20_000
#: A page refreshes itself every 2 s: one that has not come to rest after this long never does on this machine.
REST_MS = 10_000
#: How many times slower than this machine the browser is to be; for a look at what CI will see.
SLOWER = float(os.environ.get("BROWSER_SLOWER", "1"))
#: An option that is there is clicked at once; after this long its list was closed.
_OPTION_MS = 4_000
_SETTLED = """() => {
    const app = document.querySelector('[data-testid=stApp]');
    const busy = '[data-testid=stSkeleton], [data-testid=stSpinner]';
    return app && app.dataset.testScriptState === 'notRunning' && !document.querySelector(busy)
        && !document.getAnimations().some(one => one.playState === 'running'
            && one.effect && one.effect.getTiming().iterations !== Infinity);
}"""


_COUNT_RUNS = """window.swRuns = 0;
    new MutationObserver(seen => {
        window.swRuns += seen.filter(one => one.target.dataset.testScriptState === 'running').length;
    }).observe(document, { subtree: true, attributes: true, attributeFilter: ['data-test-script-state'] });"""


def patient(page: Page) -> Page:
    """A page whose acts wait as long as the machine needs; slowed down where BROWSER_SLOWER says so."""
    page.context.set_default_timeout(ACT_MS)
    page.add_init_script(_COUNT_RUNS)
    if SLOWER > 1:
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    return page


def settled(page: Page) -> None:
    """Wait until the page's run is over and nothing on it moves; a page that never rests is acted on as it is."""
    with suppress(WaitedInVain):
        page.wait_for_function(_SETTLED, timeout=REST_MS)


@contextmanager
def running_anew(page: Page) -> Iterator[None]:
    """Around an act that makes the page run anew: wait until a run that began after it is over."""
    settled(page)
    runs = page.evaluate("window.swRuns")
    yield
    with suppress(WaitedInVain):  # a machine at its end runs the page without a pause, so that no run begins
        page.wait_for_function("runs => window.swRuns > runs", arg=runs, timeout=REST_MS)
    settled(page)


def write(page: Page, label: str, text: str, *, within: Locator | None = None) -> None:
    """Write into the field of exactly this label and press Enter; outside a form the page runs anew with it."""
    field = (within or page).get_by_role("textbox", name=label, exact=True)
    expect(field).to_be_visible()
    settled(page)
    field.fill(text)
    with running_anew(page):
        field.press("Enter")
    expect(field).to_have_value(text)


def choose(page: Page, label: str, option: str, *, within: Locator | None = None) -> None:
    """Choose an option of the select box of exactly this label; its list is opened again if a redraw closed it."""
    box = (within or page).get_by_role("combobox", name=label, exact=True)
    expect(box).to_be_visible()
    ends_s = time.monotonic() + ACT_MS / 1000
    while not _picked(page, box, option):
        assert time.monotonic() < ends_s, f"'{option}' of '{label}' could not be chosen: its list closes each time"
    expect(box).to_have_value(option)


def _picked(page: Page, box: Locator, option: str) -> bool:
    settled(page)
    try:
        if box.get_attribute("aria-expanded") != "true":
            box.click()
        with running_anew(page):
            page.get_by_role("option", name=option, exact=True).click(timeout=_OPTION_MS)
    except Error:  # gone, or exchanged for a new one
        return False
    return True


def open_list(page: Page, box: Locator) -> None:
    """Open a select box and see it open once nothing moves any more."""
    box.scroll_into_view_if_needed()

    def is_open() -> bool:
        settled(page)
        if box.get_attribute("aria-expanded") != "true":
            box.click()
        settled(page)
        return box.get_attribute("aria-expanded") == "true"

    wait_for(is_open, ACT_MS / 1000, "a list to open")
