"""The linked charts in a real browser: one look reads off all views, and a zoom moves all of them."""

import pytest
from playwright.sync_api import expect

from dashboard.timeline import LANE_PX
from tests.browser.hands import running_anew
from tests.dashboard.hospital import troubled
from tests.dashboard.test_browser import browser, kept_alive, make, page_of, serving

__all__ = ["browser"]
pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_one_look_reads_off_all_views_and_a_zoom_moves_them_together(browser, tmp_path):
    one = make(tmp_path, troubled)
    served = serving(tmp_path / "data", tmp_path / "log")
    with kept_alive(one), served as (url, _), page_of(browser, 1280, 1400) as page:
        page.goto(f"{url}/unit?unit=unit-07")
        chart = page.locator("[data-testid=stVegaLiteChart] .marks")
        chart.wait_for()
        with running_anew(page):  # a chart that is drawn anew loses its zoom
            page.get_by_text("Keep up to date", exact=True).click()
        chart.wait_for()
        chart.scroll_into_view_if_needed()
        box = chart.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] * 0.7, box["y"] + LANE_PX * 4 + 60)
        page.mouse.move(box["x"] + box["width"] * 0.72, box["y"] + LANE_PX * 4 + 62)
        tip = page.locator("#vg-tooltip-element")
        for name in ("purity, %", "flow, L/min", "power, W", "capacity, L/min"):
            expect(tip).to_contain_text(name)
        before = chart.evaluate("e => e.textContent")
        page.keyboard.down("Control")
        for _ in range(4):
            page.mouse.wheel(0, -240)
        page.keyboard.up("Control")
        moved = "old => document.querySelector('[data-testid=stVegaLiteChart] .marks').textContent !== old"
        page.wait_for_function(moved, arg=before)
    one.store.close()
