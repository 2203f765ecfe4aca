"""The README's pictures, made anew from the demo: a ward screen that alarms, the board, a unit's page, the visits.

They go to `dashboard/assets/shots/`, which no page loads and no package carries. Takes two to three minutes.
Usage: python -m tests.browser.shots [FOLDER]
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from subprocess import PIPE, Popen
from typing import Final, NamedTuple

from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from collector.broker import free_port
from tests.browser.chromium import launch
from tests.browser.pages import is_drawn

FOLDER: Final = Path("dashboard/assets/shots")
MOST_BYTES: Final = 150_000
COLOURS: Final = 255
#: Fast enough to be there soon, slow enough that all pictures are of one quarter of an hour.
SPEED: Final = 60
#: The night's unit: very low after two hours and twenty minutes, off after three hours and ten.
UNIT, WARD = "heron", "medical"
_FALLS_S: Final = 240


class Shot(NamedTuple):
    """One picture: its file's name, the page's address below the dashboard's, the window, and words on it."""

    name: str
    path: str
    size: tuple[int, int]
    says: str


SHOTS: Final = (
    Shot("ward", f"?ward={WARD}", (1280, 720), "Unit output very low"),
    Shot("unit", f"unit?unit={UNIT}", (1280, 2010), "Good for up to"),
    Shot("board", "", (1440, 1230), "Unit output very low"),
    Shot("visits", "visits", (1280, 760), "Week of"),
)


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """The demo as a person starts it; yields the dashboard's address."""
    argv = ["demo", "--no-browser", "--speed", str(SPEED), "--data", str(folder), "--port", str(free_port())]
    with Popen([sys.executable, "-m", "collector.cli", *argv], stdout=PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().split()[-1].rstrip("/")
        finally:
            process.terminate()


def shoot(page: Page, url: str, shot: Shot, folder: Path) -> Path:
    """One picture, once its page stands."""
    page.set_viewport_size({"width": shot.size[0], "height": shot.size[1]})
    page.goto(f"{url}/{shot.path}")
    is_drawn(page, shot.says, 60_000)
    if shot.name == "unit":
        expect(page.locator(".marks").first).to_be_visible(timeout=60_000)
    made = folder / f"{shot.name}.png"
    taken = Image.open(BytesIO(page.screenshot(animations="disabled")))
    taken.convert("RGB").quantize(COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).save(
        made, optimize=True
    )
    return made


def main(folder: Path) -> None:
    """Wait until the unit's output is very low, then take all pictures; a picture too large for a README is refused."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as data, demo(Path(data) / "demo") as url, sync_playwright() as playwright, \
            launch(playwright, locale="en-GB", color_scheme="light") as page:  # fmt: skip
        page.goto(url)
        expect(page.locator(f"#tile-{UNIT}")).to_contain_text(SHOTS[0].says, timeout=_FALLS_S * 1000)
        for shot in SHOTS:
            made = shoot(page, url, shot, folder)
            size = made.stat().st_size
            sys.stdout.write(f"{made}: {size / 1000:.0f} kB\n")
            if size > MOST_BYTES:
                raise SystemExit(f"{made} has more than {MOST_BYTES / 1000:.0f} kB: make its window smaller")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else FOLDER)
