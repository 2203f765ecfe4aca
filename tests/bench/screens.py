"""What each page costs in real Chromium: kB of a first visit and a refresh, run of its script, time to its content.

Fast and on a line of 256 kbit/s with 300 ms there and back (slow_line.py: every byte of page, scripts and web socket).
`first` is a browser that has seen no page of ours; `again` one that has them all.
Usage: python -m tests.bench.screens [UNITS] [PAGE ...]
"""

from __future__ import annotations

import base64
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from tests.bench.slow_line import Line, line_to
from tests.browser.pages import PAGES, WALL, bad_hours, is_drawn, served
from tests.dashboard.test_browser import ARGS

KBIT_S, ROUND_TRIP_S = 256.0, 0.3
WATCHED_MS = 12_000
SLOW_MS = 180_000


class Cost(NamedTuple):
    """Of one page; times in seconds, script in ms, `refreshes` in WATCHED_MS."""

    page: str
    first_kb: float
    first_s: float
    again_kb: float
    again_s: float
    refreshes: int
    refresh_kb: float
    script_ms: float
    slow_again_s: float


class Runs:
    """How long each run of a page's script takes, as its messages say: from a new session to its end."""

    def __init__(self, page: Page) -> None:
        self.took_ms: list[float] = []
        self._begun_s: float | None = None
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.on("Network.webSocketFrameReceived", self._frame)

    def _frame(self, event: dict[str, Any]) -> None:
        if event["response"]["opcode"] != 2:
            return
        said = ForwardMsg.FromString(base64.b64decode(event["response"]["payloadData"])).WhichOneof("type")
        if said == "new_session":
            self._begun_s = event["timestamp"]
        elif said == "script_finished" and self._begun_s is not None:
            self.took_ms.append((event["timestamp"] - self._begun_s) * 1000)
            self._begun_s = None


@contextmanager
def visitor(browser: Browser) -> Iterator[BrowserContext]:
    """A browser that knows nothing yet."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(SLOW_MS)
    yield context
    context.close()


def visit(context: BrowserContext, line: Line, url: str, path: str) -> tuple[Page, Runs, float, float]:
    """Open a page; also gives kB over the line and seconds until its content stands."""
    page, before, begun_s = context.new_page(), line.down.sent, time.perf_counter()
    runs = Runs(page)
    page.goto(f"{url}/{path}", timeout=SLOW_MS)
    is_drawn(page, PAGES.get(path, ""), SLOW_MS)
    return page, runs, (line.down.sent - before) / 1000, time.perf_counter() - begun_s


def cost(browser: Browser, line: Line, url: str, path: str) -> Cost:
    """One page: first, again, while it stands, and again on the slow line."""
    with visitor(browser) as context:
        page, _, first_kb, first_s = visit(context, line, url, path)
        page.close()
        page, runs, again_kb, again_s = visit(context, line, url, path)
        page.wait_for_timeout(2000)
        runs.took_ms.clear()
        before = line.down.sent
        page.wait_for_timeout(WATCHED_MS)
        refreshes, kb = len(runs.took_ms), (line.down.sent - before) / 1000
        script = statistics.median(runs.took_ms) if runs.took_ms else 0.0
        page.close()
        line.slow(KBIT_S, ROUND_TRIP_S)
        page, _, _, slow_s = visit(context, line, url, path)
        page.close()
        line.slow(0, 0)
    return Cost(path, first_kb, first_s, again_kb, again_s, refreshes, kb / max(1, refreshes), script, slow_s)


def first_of_all(browser: Browser, line: Line, url: str, path: str) -> tuple[float, float]:
    """kB and seconds of a first visit on the slow line."""
    line.slow(KBIT_S, ROUND_TRIP_S)
    with visitor(browser) as context:
        _, _, kb, took_s = visit(context, line, url, path)
    line.slow(0, 0)
    return kb, took_s


def heading() -> str:
    """Names of the columns."""
    return " ".join(f"{name:>12}" for name in Cost._fields)


def line_of(cost: Cost) -> str:
    """One page's costs under them."""
    named = cost._replace(page=(cost.page or "board")[:12])
    return " ".join(f"{one:>12}" if isinstance(one, int | str) else f"{one:>12.2f}" for one in named)


def main(units: int = 24, only: Sequence[str] = ()) -> None:
    """A line a page, then a first visit of the board and of a ward screen on the slow line."""
    paths = [path for path in (*PAGES, WALL) if not only or path.split("?")[0] in only]
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        one = bad_hours(Path(name), units)
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGS)
        with served(one, Path(name)) as server, line_to(server) as (line, url):
            sys.stdout.write(f"{units} units\n{heading()}\n")
            for path in paths:
                sys.stdout.write(f"{line_of(cost(browser, line, url, path))}\n")
                sys.stdout.flush()
            for path in ("", WALL):
                kb, took_s = first_of_all(browser, line, url, path)
                sys.stdout.write(f"first visit on the slow line, {path or 'board'}: {kb:.0f} kB, {took_s:.1f} s\n")
        browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else 24, sys.argv[2:])
