"""What the ward screen of forty units costs, in real Chromium: from the store to the screen, bytes, script, first load.

Then five such screens at once beside a collector: its alerts' way with and without them. Screens and browser share this
machine with the collector, which no ward does: read the second part as a bound.
Usage: python -m tests.bench.ward_screen [CHANGES]
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from collector.broker import start_nats
from collector.store import open_store
from tests.bench import signal_latency
from tests.bench.each_broker import Row, show
from tests.dashboard.test_browser import ARGS, serving
from tests.dashboard.ward import LiveWards, bad_night

SCREENS = 5
QUIET_S = 20
#: Notes when a unit's tile first shows a text that it is asked to look for.
WATCH = """() => { window.seen = {}; new MutationObserver(() => { for (const [id, text] of Object.entries(window.asked))
    if (!window.seen[text] && document.querySelector(`#sw-wall #${id}`)?.textContent.includes(text))
      window.seen[text] = performance.timeOrigin + performance.now(); })
    .observe(document.querySelector('#sw-wall'), {childList: true, subtree: true}); window.asked = {}; }"""


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        yield browser
        browser.close()


class Wire:
    """Bytes that a page receives."""

    def __init__(self, page: Page) -> None:
        self.frames = self.loaded = 0
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.on("Network.webSocketFrameReceived", self._frame)
        session.on("Network.loadingFinished", self._loaded)

    def _frame(self, event: dict[str, Any]) -> None:
        data = event["response"]["payloadData"]
        self.frames += len(data) * 3 // 4 if event["response"]["opcode"] == 2 else len(data)

    def _loaded(self, event: dict[str, Any]) -> None:
        self.loaded += int(event["encodedDataLength"])


def opened(page: Page, url: str, ward: str) -> float:
    """Open a ward's screen; seconds until its tiles stand there."""
    begun_s = time.perf_counter()
    page.goto(f"{url}/?ward={ward}")
    page.wait_for_selector("#sw-wall .ww-tile")
    return time.perf_counter() - begun_s


def changes_ms(page: Page, wards: LiveWards, count: int) -> list[float]:
    """From the end of the store's commit to the screen, at any moment of its round."""
    page.evaluate(WATCH)
    took, chance = [], random.Random(6)  # noqa: S311 - moments, no secrets
    for n in range(count):
        unit, text = f"unit-{17 + n % 39:02}", f"{70 + n % 20}.{n % 10}"
        page.evaluate("([id, text]) => { asked = {[id]: text}; delete seen[text]; }", [f"tile-{unit}", text])
        page.wait_for_timeout(chance.uniform(0, 2000))
        done_ms = wards.set(unit, purity_pct=float(text))
        page.wait_for_function("text => window.seen[text]", arg=text, timeout=20_000)
        took.append(page.evaluate("text => window.seen[text]", text) - done_ms)
    return took


def script_ms(page: Page, rounds: int) -> list[float]:
    """How long each run of the screen's script took."""
    took = []
    for _ in range(rounds):
        beat = page.evaluate("swWall.beat")
        page.wait_for_function("old => swWall.beat !== old", arg=beat)
        took.append(float(page.evaluate("swWall.took")))
    return took


def per_refresh(page: Page, wire: Wire) -> float:
    """Bytes a run, over some seconds."""
    wire.frames = 0
    beats = len(script_ms(page, QUIET_S))
    return wire.frames / beats


def one_screen(folder: Path, count: int) -> list[Row]:
    """The screen of forty units: calm, all values new every ten seconds, in alarm."""
    wards = LiveWards(folder)
    rows: list[Row] = []
    with wards.living(), serving(wards.data_dir, folder / "log") as (url, _), chromium() as browser:
        page = browser.new_page(viewport={"width": 1920, "height": 1080})
        wire = Wire(page)
        first_s = opened(page, url, "many")
        rows.append({"what": "first load", "seconds": first_s, "kB": (wire.loaded + wire.frames) / 1000})
        rows.append({"what": "calm", "bytes_a_refresh": per_refresh(page, wire), **_middle(script_ms(page, QUIET_S))})
        took = changes_ms(page, wards, count)
        rows.append({"what": "store to screen", "changes": count, "median_ms": statistics.median(took),
                     "max_ms": max(took)})  # fmt: skip
        bad_night(wards)
        page.wait_for_selector("#wall-alert.ww-high")
        rows.append({"what": "in alarm", "bytes_a_refresh": per_refresh(page, wire),
                     **_middle(script_ms(page, QUIET_S))})  # fmt: skip
    return rows


def _middle(took: list[float]) -> Row:
    return {"script_median_ms": statistics.median(took), "script_max_ms": max(took)}


@contextmanager
def screens(data_dir: Path, folder: Path, count: int) -> Iterator[None]:
    """So many ward screens open on a store."""
    with serving(data_dir, folder / "log") as (url, _), chromium() as browser:
        for n in range(count):
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(f"{url}/?ward=w{n}")
        yield


def beside_a_collector(folder: Path, count: int) -> Row:
    """The alerts' way through a collector, with so many screens open."""
    with ExitStack() as stack:
        broker = stack.enter_context(start_nats(folder))
        data_dir = folder / f"store-{broker.name.split()[0]}"
        with open_store(data_dir, signal_latency.FACILITY) as store, store.transaction():
            store.set_status("site", {"path": "", "text": signal_latency.site_text(100)})
        if count:
            stack.enter_context(screens(data_dir, folder, count))
        return {"screens": count, **signal_latency.measure(broker, folder, 100, 200.0)}


def main(count: int = 30) -> list[Row]:
    """A row a measurement."""
    with tempfile.TemporaryDirectory() as name:
        rows = one_screen(Path(name), count)
    for number in (0, SCREENS, 0, SCREENS):
        with tempfile.TemporaryDirectory() as name:
            rows.append(beside_a_collector(Path(name), number))
    return rows


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
