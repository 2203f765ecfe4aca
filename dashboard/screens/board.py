"""The ward board: every unit a tile. `?ward=ID`, or a wall screen's link, opens that ward's own screen."""

from __future__ import annotations

from html import escape

import streamlit as st

from dashboard import first_words, story_words, wall_page, words
from dashboard.access import access
from dashboard.board import board_of, places
from dashboard.firstuse import Step, is_open, steps
from dashboard.frame import EVERY_S, look
from dashboard.tiles import board_html, top_html

link = access().link
asked = st.query_params.get("ward") if link is None else link.ward


def is_known(ward: str) -> bool:
    """Whether a ward has a screen; before anything is known, every one has."""
    now = look().now
    return now is None or ward in {place.id for place in places(now)}


def first_html(found: list[Step]) -> str:
    """The way to the first use, while it is not over."""
    said = first_words.board(sum(one.done for one in found), len(found))
    return f'<p class="sw-hint"><a href="./first">{escape(said)}</a></p>'


@st.fragment(run_every=EVERY_S)
def board() -> None:
    """Everything in one block: sixty widgets would cost ten times as much."""
    screen = look()
    now = screen.now
    if now is None:
        st.html(screen.strip)
        return
    parts = [screen.strip]
    if asked:
        parts.append(f'<p class="sw-hint">{words.NO_WARD}</p>')
    parts.append(top_html(now, screen.now_ms, [(place.id, place.title) for place in places(now)], None))
    drawn = board_of(now, screen.now_ms, screen.wall_ms)
    if is_open(now):
        parts.append(first_html(steps(now)))
    if any(block.tiles for block in drawn.wards):
        parts.append(board_html(drawn, None))
    else:
        parts.append(f'<p class="sw-hint">{words.EMPTY_SITE if now.site is None else first_words.EMPTY_BOARD}</p>')
    told = f' <a href="./story">{escape(story_words.PAGE)}</a>' if now.story else ""
    parts.append(f'<p class="sw-caution">{words.CAUTION}{told}</p>')
    st.html("".join(parts))


if asked and (link is not None or is_known(asked)):
    wall_page.draw(asked, linked=link is None)
else:
    board()
