"""What every screen shares: the data directory, what is known now (read once a second for all screens), the strip.

Rules of this file: a store that cannot be read is a state of the screen, said in words, never a traceback.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final, NamedTuple

import streamlit as st

from collector.rules.entries import JournalRow
from collector.service.due import DueTask
from collector.service.order import Order
from collector.service.reliability import Fleet
from collector.service.visits import Plan
from collector.site import Site
from collector.store import StoreError
from dashboard import access, guide, language, queries, service_words, upkeep_queries, words
from dashboard.freshness import Banner, banners
from dashboard.launch import data_dir
from dashboard.queries import Now
from dashboard.tiles import strip_html
from dashboard.times import DAY
from dashboard.told import KINDS as TOLD_KINDS
from dashboard.told import Tellings, tellings

ASSETS: Final = Path(__file__).with_name("assets")
EVERY_S: Final = 2
SLOWLY_S: Final = 15
TOLD_S: Final = 5
TOLD_DAYS: Final = 3
DUES_S: Final = 60
FLEET_S: Final = 300
PLAN_S: Final = 900
_WAITS: Final = "waits"


class Screen(NamedTuple):
    """One look at the store: `now` is None when there is nothing to be seen; now_ms is facility time."""

    now: Now | None
    now_ms: int
    wall_ms: int
    banners: list[Banner]

    @property
    def strip(self) -> str:
        """The strip as HTML."""
        return strip_html(self.now, self.banners, self.now_ms, self.wall_ms)


@st.cache_resource(ttl=1.0, max_entries=4, show_spinner=False)
def _now(path: str) -> Now:
    return queries.now(Path(path))


@st.cache_resource(ttl=SLOWLY_S, max_entries=2, show_spinner=False)
def _rows(path: str) -> list[JournalRow]:
    return queries.service_rows(Path(path))


def service_rows() -> list[JournalRow]:
    """What people did to units, parts and cylinders, in the order in which it was written; StoreError."""
    return _rows(str(data_dir()))


@st.cache_resource(ttl=DUES_S, max_entries=2, show_spinner=False)
def _dues(path: str, _now: Now, _now_ms: int) -> list[DueTask]:
    return upkeep_queries.dues(Path(path), _now, _now_ms)


def dues(now: Now, now_ms: int) -> list[DueTask]:
    """What is due on every unit, the soonest first, worked out once a minute and after each entry; StoreError."""
    return _dues(str(data_dir()), now, now_ms)


@st.cache_resource(ttl=DUES_S, max_entries=2, show_spinner=False)
def _order(path: str, _now: Now, _now_ms: int) -> Order:
    return upkeep_queries.order(Path(path), _now, _now_ms)


def order(now: Now, now_ms: int) -> Order:
    """What to order this month, worked out as often as what is due; StoreError."""
    return _order(str(data_dir()), now, now_ms)


@st.cache_resource(ttl=FLEET_S, max_entries=4, show_spinner=words.WORKING)
def _fleet(path: str, days: int, _site: Site, _now_ms: int) -> Fleet:
    return upkeep_queries.fleet(Path(path), _site, (_now_ms - days * DAY, _now_ms), _now_ms)


def fleet(site: Site, days: int, now_ms: int) -> Fleet:
    """The fleet's figures over so many days, worked out every five minutes; StoreError."""
    return _fleet(str(data_dir()), days, site, now_ms)


@st.cache_resource(ttl=PLAN_S, max_entries=4, show_spinner=words.WORKING)
def _plan(path: str, weeks: int, _now: Now, _now_ms: int) -> Plan:
    return upkeep_queries.plan(Path(path), _now, _now_ms, _dues(path, _now, _now_ms), weeks)


def plan(now: Now, now_ms: int, weeks: int) -> Plan:
    """The plan of visits, worked out every quarter of an hour and after each entry; StoreError."""
    return _plan(str(data_dir()), weeks, now, now_ms)


@st.cache_resource(ttl=TOLD_S, max_entries=2, show_spinner=False)
def _tellings(path: str, _now_ms: int) -> Tellings:
    return tellings(queries.journal(Path(path), kinds=TOLD_KINDS, from_ms=_now_ms - TOLD_DAYS * DAY))


def told(now_ms: int) -> Tellings:
    """Who was told of what by message in the last days; nothing where the store cannot be read: the strip says why."""
    with suppress(StoreError):
        return _tellings(str(data_dir()), now_ms)
    return {}


def forget() -> None:
    """Look anew at the next question: somebody has just written something."""
    _now.clear()
    _rows.clear()
    _dues.clear()
    _order.clear()
    _plan.clear()


def look(*, held: bool = True) -> Screen:
    """What is known now, and what has to be said about it; `held`: only while whoever opened the screen may see it."""
    if held:
        access.hold()
    wall_ms = queries.wall_ms()
    try:
        now = _now(str(data_dir()))
    except StoreError as error:
        said = f"{words.WAITING} {words.WAITING_HOW}" if error.kind == "missing" else words.store_fault(str(error))
        return Screen(None, wall_ms, wall_ms, [Banner(error.kind != "missing", said)])
    return Screen(now, now.clock.now_ms(), wall_ms, banners(now, wall_ms))


@st.fragment(run_every=EVERY_S)
def strip() -> None:
    """The strip of a screen that does not redraw itself; draws the whole screen once there is something to draw."""
    screen = look()
    st.html(screen.strip)
    if screen.now is not None and st.session_state.pop(_WAITS, False):
        st.rerun()


@contextmanager
def in_words() -> Iterator[None]:
    """Say what the store cannot do instead of what was to be drawn."""
    try:
        yield
    except StoreError as error:
        st.warning(words.store_fault(str(error)))


def load_assets() -> None:
    """Style and watch script; once a page load."""
    st.html(ASSETS / "board.css")
    script = (ASSETS / "watch.js").read_text(encoding="utf-8")
    lost = json.dumps(words.SCREEN_LOST).replace("<", "\\u003c")
    st.html(f"<script>window.swLost = {lost};\n{script}</script>", unsafe_allow_javascript=True)


def speak(*, wall: bool) -> None:
    """Tell this screen in its reader's language; the facility's own where nobody chose one."""
    facility = ""
    with suppress(StoreError):
        site = _now(str(data_dir())).site
        facility = site.facility.language if site is not None else ""
    ward = wall or "ward" in st.query_params
    spoken = language.settle(facility, wall=ward)
    language.tell_browser(spoken, keep=language.PARAM in st.query_params)


def needed_now() -> tuple[Now, int]:
    """What is known now, and facility time; where there is nothing the page ends here (its strip says why)."""
    screen = look()
    st.session_state[_WAITS] = screen.now is None
    if screen.now is None:
        st.stop()
    return screen.now, screen.now_ms


def help_beside(texts: Sequence[str]) -> None:
    """What the figures of a page are, where their limits come from, what they cannot say; closed until asked for."""
    with st.expander(guide.FIGURES_TITLE):
        st.markdown("\n\n".join(texts))


def table(rows: Sequence[Mapping[str, object]]) -> None:
    """Rows as a table, or that there are none."""
    if rows:
        st.dataframe(rows, hide_index=True)
    else:
        st.write(service_words.NONE)
