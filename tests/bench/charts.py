"""The linked charts of one unit in a real browser: from the tap on a span until they are drawn, and bytes on the way.

Usage: python -m tests.bench.charts [--help]. The store holds three years of one unit by the hour, with a thousand
alarms and notes; times are wall time of this machine with whatever else it does.
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.store.connect import connect_writer, store_path
from collector.store.readings import HOUR_MS, set_mark
from collector.store.schema import ROLLED
from dashboard.past import SPANS
from tests.browser.chromium import launch
from tests.dashboard import estimates
from tests.dashboard.hospital import MINUTE, Hospital, good, site_text
from tests.dashboard.test_browser import kept_alive, serving

YEARS_H = 3 * 8766
UNIT = "unit-01"


def filled(folder: Path) -> Hospital:
    """A hospital of three units, one of which has three years behind it."""
    one = Hospital(folder / "data", site_text(3), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, good)
    last = one.now_ms // HOUR_MS * HOUR_MS
    rows = [_hour(last - n * HOUR_MS, n) for n in range(YEARS_H, 0, -1)]
    names = ["unit_no", "at_ms", "n", *(f"{q}_{part}" for q in ROLLED for part in ("n", "sum", "min", "max"))]
    conn = connect_writer(store_path(one.data_dir))
    (number,) = conn.execute("SELECT unit_no FROM unit_no WHERE unit = ?", (UNIT,)).fetchone()
    conn.executemany(f"INSERT OR REPLACE INTO rollup_1h ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",  # noqa: S608
                     [(number, *row) for row in rows])  # fmt: skip
    set_mark(conn, "rolled_until", last)
    conn.commit()
    conn.close()
    with one.store.transaction():
        one.store.add_capacity(estimates.course(UNIT, one.now_ms, YEARS_H))
        one.store.append_journal(_happened(one.now_ms), one.now_ms)
    return one


def _hour(at_ms: int, n: int) -> tuple[float, ...]:
    """One hour's rollup: 360 readings; each week has a warm-up."""
    purity = 93 + math.sin(n / 500)
    row: list[float] = [at_ms, 360]
    for q in ROLLED:
        mean = {"purity_pct": purity, "flow_lpm": 2 + n % 3, "power_w": 330.0, "temp_c": 30.0, "volts": 230.0}[q]
        low = 21.0 if q == "purity_pct" and not n % 168 else mean - 0.5
        row += [360, 360 * mean, low, mean + 0.5]
    return tuple(row)


def _happened(now_ms: int) -> list[JournalEntry]:
    found = []
    for n in range(500):
        at_ms = now_ms - (n + 1) * 52 * HOUR_MS
        for body, after in (("raised", 0), ("cleared", HOUR_MS)):
            found.append(JournalEntry(at_ms=at_ms + after, kind=entries.CONDITION, unit=UNIT, condition="purity-amber",
                                      body={"event": body, "priority": "medium"}))  # fmt: skip
        found.append(JournalEntry(at_ms=at_ms, kind=entries.NOTE, unit=UNIT, who="N. Example", body={"text": "a note"}))
    return sorted(found, key=lambda row: row.at_ms)


def measured(page: Page, span: str, turns: int) -> tuple[float, float]:
    """Median seconds from the tap to the drawn charts, and the most kB that came for them."""
    came: list[int] = []
    client = page.context.new_cdp_session(page)
    client.send("Network.enable")
    client.on("Network.webSocketFrameReceived", lambda frame: came.append(_size(frame)))
    times, sizes = [], []
    drawn = f"[class*='st-key-linked-{SPANS[span]}'] [data-testid=stVegaLiteChart] .marks"
    for _ in range(turns):
        page.get_by_text("Hour" if span != "Hour" else "Day", exact=True).first.click()
        page.locator(drawn).wait_for(state="detached")
        page.wait_for_load_state("networkidle")
        came.clear()
        begun = time.perf_counter()
        page.get_by_text(span, exact=True).first.click()
        page.locator(drawn).first.wait_for(state="visible")
        times.append(time.perf_counter() - begun)
        sizes.append(sum(came) / 1000)
    return statistics.median(times), max(sizes)  # what came before is not sent again


def _size(frame: dict[str, Any]) -> int:
    """Bytes of a frame: binary ones come as base64."""
    text = frame["response"]["payloadData"]
    return len(text) * 3 // 4 if frame["response"]["opcode"] == 2 else len(text)


def main(argv: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--turns", type=int, default=5, help="how often each span is opened")
    turns = parser.parse_args(argv).turns
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        one = filled(folder)
        with (kept_alive(one), serving(folder / "data", folder / "log") as (url, _), sync_playwright() as playwright,
              launch(playwright, viewport={"width": 1280, "height": 1400}) as page):  # fmt: skip
            page.goto(f"{url}/unit?unit={UNIT}")
            page.locator("[data-testid=stVegaLiteChart] .marks").first.wait_for()
            for span in SPANS:
                seconds, kilobytes = measured(page, span, turns)
                sys.stdout.write(f"{span:8} {seconds:6.2f} s  {kilobytes:7.0f} kB\n")
                sys.stdout.flush()
        one.store.close()


if __name__ == "__main__":
    main()
