"""The ward screen in Streamlit: one fragment that feeds the browser's own script (assets/wall.js), which draws it."""

from __future__ import annotations

import json
import time
from typing import Final

import streamlit as st

from dashboard import wall_colours, wall_words, words
from dashboard.frame import ASSETS, Screen, look, told
from dashboard.told import told_text
from dashboard.wall import Wall, wall_of
from dashboard.wall_html import News, parts_of, signals, stood

#: Half as long as on other screens: from a change in the store to the screen it is to be under two seconds.
EVERY_S: Final = 1
SCRIPTS: Final = ("wall_sound.js", "wall.js")


def draw(ward: str, *, linked: bool) -> None:
    """A ward's screen; `linked`: whoever looks may go on from it to other pages."""
    st.html(ASSETS / "wall.css")
    st.html(wall_colours.css())
    scripts = "\n".join((ASSETS / name).read_text(encoding="utf-8") for name in SCRIPTS)
    said = json.dumps(wall_words.IN_BROWSER).replace("<", "\\u003c")
    st.html(f"<script>window.swWords = {said};\n{scripts}</script>", unsafe_allow_javascript=True)
    st.html(f'<p class="sw-hint">{wall_words.LOADING}</p>')
    _feed(ward, linked, News(), {"took": "0"})


@st.fragment(run_every=EVERY_S)
def _feed(ward: str, linked: bool, news: News, kept: dict[str, str]) -> None:
    """One element: what changed since the last run. `kept` tells how long that one took, for the measuring."""
    begun_s = time.perf_counter()
    screen = look()
    wall = _wall(screen, ward)
    data = {
        "beat": str(screen.wall_ms), "clock": wall.clock, "night": str(int(wall.night)), "signals": signals(wall),
        "stood": stood(wall), "lost": str(int(bool(wall.lost))), "took": kept["took"],
    }  # fmt: skip
    st.html(news.feed(parts_of(wall, linked=linked), data))
    kept["took"] = f"{(time.perf_counter() - begun_s) * 1000:.1f}"


def _wall(screen: Screen, ward: str) -> Wall:
    now = screen.now
    if now is None:
        said = [banner.text for banner in screen.banners]
        return Wall(words.PRODUCT, "", "", False, tuple(said))
    tellings = told(screen.now_ms)
    return wall_of(now, screen.banners, screen.now_ms, screen.wall_ms, ward,
                   lambda alarm: told_text(alarm, tellings, screen.now_ms, now.zone))  # fmt: skip
