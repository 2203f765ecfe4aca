"""A real, headless Chromium that talks to this machine only."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Page, Playwright

from tests.browser.hands import patient

ARGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
        "--disable-component-update", "--disable-sync"]  # fmt: skip
#: Streamlit probes below a page's path first, and then at the root: these two are answered with 404 on purpose.
KNOWN_404 = ("/_stcore/health", "/_stcore/host-config")


def chromium() -> str:
    """The browser's path; skips where there is none, and fails in CI."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        why = "no Chromium here; on Debian: apt-get install chromium"
        pytest.fail(why) if os.environ.get("CI") == "true" else pytest.skip(why)
    return str(path)


@contextmanager
def launch(playwright: Playwright, **context: object) -> Iterator[Page]:
    """A page of a new browser; at the end nothing may have left this machine and nothing may have failed on it."""
    browser = playwright.chromium.launch(executable_path=chromium(), args=ARGS)
    page = patient(browser.new_context(**context).new_page())  # type: ignore[arg-type]
    outside: list[str] = []
    failed: list[str] = []
    page.on("request", lambda r: outside.append(r.url) if "//127.0.0.1:" not in r.url and r.url[:4] == "http" else None)
    page.on("pageerror", lambda error: failed.append(str(error)))
    page.on("response", lambda r: failed.append(r.url) if r.status >= 400 and not r.url.endswith(KNOWN_404) else None)
    try:
        yield page
    finally:
        browser.close()
    assert (outside, failed) == ([], [])
