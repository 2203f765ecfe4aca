"""Every page of the dashboard with words that stand on it once it is drawn, and hospitals to see them in."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, expect

from tests.dashboard.hospital import MINUTE, Hospital, good, troubled
from tests.dashboard.test_browser import kept_alive, serving
from tests.dashboard.upkeep import upkeep_text

#: Address of a page below the dashboard's own -> words on it when there is something to show.
PAGES = {
    "": "Change over to the backup now", "units": "Needs attention", "unit?unit=unit-03": "Purity",
    "alarms": "Put aside", "handover": "Stands now", "backup": "Enter a cylinder's reading",
    "due": "Wash the cabinet filter", "visits": "Visits", "work": "Checks due after work", "parts": "Intake filter",
    "fleet": "Fleet", "labels": "Labels as PDF", "review": "Most frequent", "power": "Worst hours",
    "compare?units=unit-03,unit-07": "The same in numbers", "sensors": "Bridges", "limits": "Limits", "data": "Journal",
    "about": "Language:", "first": "From nothing to the first live unit", "story": "There is no story to tell here",
    "people": "nobody signs in",
}  # fmt: skip
WALL = "?ward=newborn"
#: What is under way, and a part that Streamlit has broken: the page loads itself anew then (watch.js).
_BUSY = (
    "[data-testid=stSkeleton], [data-testid=stSpinner], [data-testid=stStatusWidget], [data-testid=stErrorElementStack]"
)


def is_drawn(page: Page, says: str = "", timeout_ms: float = 20_000) -> None:
    """Wait until a page stands: its strip, its words, and nothing that is still under way."""
    expect(page.locator(".sw-strip, #sw-wall, .sw-door").first).to_be_attached(timeout=timeout_ms)
    if says:
        expect(page.locator("body")).to_contain_text(says, ignore_case=True, timeout=timeout_ms)
    expect(page.locator(_BUSY)).to_have_count(0, timeout=timeout_ms)


def bad_hours(folder: Path, units: int = 24) -> Hospital:
    """A hospital with upkeep whose last forty minutes went wrong, rolled up."""
    one = Hospital(folder / "data", upkeep_text(units), time.time_ns() // 1_000_000 - 70 * MINUTE)
    one.play(30, good)
    one.play(40, troubled)
    while one.store.roll_up(one.now_ms):
        pass
    return one


@contextmanager
def served(one: Hospital, folder: Path) -> Iterator[str]:
    """The dashboard over a hospital whose collector goes on living; yields its address."""
    with kept_alive(one), serving(one.data_dir, folder / "log") as (url, _):
        yield url
    one.store.close()
