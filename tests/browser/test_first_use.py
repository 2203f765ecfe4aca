"""From nothing to the first live tile: real collector, broker, dashboard, bridge on a pseudo-terminal, and browser."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect, sync_playwright

from collector.broker import start_nats
from collector.site import load_site
from collector.store import StoreError
from collector.store.history import open_reader, status
from tests.browser.chromium import launch
from tests.browser.pages import is_drawn
from tests.dashboard.test_browser import serving
from tests.waiting import wait_for

PASSWORD = "three grey herons wait"  # noqa: S105 - of an invented person
LINE = b"purity=94.1 flow=3.00 power=330 volts=230\r\n"
SLOW_MS = 60_000


def sieveward(*words: str | Path) -> list[str]:
    return [sys.executable, "-m", "collector.cli", *map(str, words)]


@contextmanager
def running(log: Path, *words: str | Path) -> Iterator[None]:
    """A command of ours as a process, ended at the end."""
    with log.open("wb") as out:
        process = subprocess.Popen(sieveward(*words), stdout=out, stderr=out)
        try:
            yield
        finally:
            process.terminate()
            process.wait(30)


@contextmanager
def device() -> Iterator[str]:
    """A unit that writes a line a second into a pseudo-terminal; yields the line's path."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    stop = threading.Event()

    def speak() -> None:
        while not stop.wait(1.0):
            try:
                os.write(master, LINE)
            except BlockingIOError:
                continue  # nobody reads yet

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        stop.set()
        thread.join()
        os.close(master)
        os.close(slave)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[str, Path, Path]]:
    """An empty hospital at work: the dashboard's address, its data, its site file."""
    data, site = tmp_path / "data", tmp_path / "site.toml"
    with ExitStack() as stack:
        broker = stack.enter_context(start_nats(tmp_path / "broker"))
        words = ("collect", "--site", site, "--new", "lakeside", "--data", data)
        stack.enter_context(running(tmp_path / "collector", *words, "--broker", f"{broker.host}:{broker.port}"))
        wait_for(lambda: connected(data), 60, "the collector")
        url, _ = stack.enter_context(serving(data, tmp_path / "dashboard"))
        yield url, data, site


def connected(data: Path) -> bool:
    try:
        conn = open_reader(data)
    except StoreError:
        return False
    try:
        return bool((status(conn, "collector") or {}).get("broker_state") == "connected")
    finally:
        conn.close()


def sign_in(page: Page, url: str, data: Path) -> None:
    """The first administrator, by the code that the command prints."""
    done = subprocess.run(sieveward("user", "first", "--data", data), capture_output=True, text=True, check=True)
    code = done.stdout.strip()
    page.goto(url)
    for name, text in (("code", code), ("full_name", "Awa Example"), ("login", "awa"), ("password", PASSWORD)):
        page.locator(f"form.sw-door input[name={name}]").fill(text)
    page.locator("form.sw-door button").first.click()
    expect(page.locator('a[href="./first"]')).to_be_visible(timeout=SLOW_MS)


def step(page: Page, url: str, name: str) -> None:
    page.goto(f"{url}/first?step={name}")
    is_drawn(page, "First use", SLOW_MS)


def press(page: Page, label: str) -> None:
    page.get_by_role("button", name=label, exact=True).click()
    expect(page.get_by_text("written into the site file", exact=False).first).to_be_visible(timeout=SLOW_MS)


def fill(page: Page, label: str, text: str) -> None:
    field = page.get_by_label(label, exact=True)
    field.fill(text)
    field.press("Tab")


def describe(page: Page, url: str) -> None:
    """The hospital, two wards, a model, a unit and its bridge."""
    step(page, url, "hospital")
    fill(page, "Name of the hospital", "Lakeside (invented)")
    press(page, "Save")
    step(page, url, "wards")
    fill(page, "Names of wards, one a line", "Newborn\nSurgery")
    press(page, "Add wards")
    step(page, url, "models")
    fill(page, "Model, as the units' manual calls it", "Bedside 5")
    press(page, "Add the model")
    step(page, url, "units")
    fill(page, "Name of the unit, or of the first of several", "bed-01")
    press(page, "Add")
    step(page, url, "bridge")
    fill(page, "Name of the bridge", "East")
    press(page, "Add the bridge")


@pytest.mark.browser
@pytest.mark.slow
def test_from_nothing_to_the_first_live_tile_and_a_test_that_arrives(
    house: tuple[str, Path, Path], tmp_path: Path
) -> None:  # fmt: skip
    url, data, site_file = house
    with sync_playwright() as playwright, launch(playwright) as page, device() as line:
        sign_in(page, url, data)
        describe(page, url)
        site = load_site(site_file)
        assert [ward.title for ward in site.wards] == ["Newborn", "Surgery"]
        assert (site.ward_of("bed-01").id, site.model_of("bed-01").id) == ("newborn", "bedside-5")
        assert site.bridges[0].units == ("bed-01",)
        step(page, url, "bridge")  # left and taken up again: the bridge is there
        fill(page, "Serial port on the bridge", line)
        text = page.locator("[data-testid=stCode]", has_text="[[port]]")
        expect(text).to_contain_text(line, timeout=SLOW_MS)
        bridge_file = tmp_path / "east.toml"
        with page.expect_download() as taken:
            page.get_by_role("button", name="Download the file").click()
        taken.value.save_as(bridge_file)
        with running(tmp_path / "bridge", "bridge", bridge_file):
            expect(page.get_by_text("Heard: bed-01. It works.").first).to_be_visible(timeout=SLOW_MS)
            page.goto(url)
            expect(page.locator("#tile-bed-01")).to_contain_text("94.1", timeout=SLOW_MS)
            expect(page.locator('a[href="./first"]')).to_be_visible(timeout=SLOW_MS)  # no alarm was tried yet
            step(page, url, "test")
            page.get_by_role("button", name="Send the test", exact=True).click()
            expect(page.get_by_text("each ward's screen shows TEST").first).to_be_visible(timeout=2 * SLOW_MS)
            for way in ("Journal", "Signal to Newborn", "Signal to Surgery", "Data of the screens"):
                row = page.locator("tr", has_text=way).first
                expect(row).to_contain_text("Arrived", timeout=SLOW_MS)
            page.goto(url)
            expect(page.locator("#tile-bed-01")).to_be_visible(timeout=SLOW_MS)
            expect(page.locator('a[href="./first"]')).to_have_count(0, timeout=SLOW_MS)
