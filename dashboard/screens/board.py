"""The ward board: every unit a tile. `?ward=ID`, or a wall screen's link, opens that ward's own screen."""

from __future__ import annotations

import streamlit as st

from dashboard import wall_page, words
from dashboard.access import access
from dashboard.board import board_of, places
from dashboard.frame import EVERY_S, look
from dashboard.tiles import board_html, top_html

link = access().link
asked = st.query_params.get("ward") if link is None else link.ward


def is_known(ward: str) -> bool:
    """Whether a ward has a screen; before anything is known, every one has."""
    now = look().now
    return now is None or ward in {place.id for place in places(now)}


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
    if any(block.tiles for block in drawn.wards):
        parts.append(board_html(drawn, None))
    else:
        parts.append(f'<p class="sw-hint">{words.EMPTY_SITE}</p>')
    parts.append(f'<p class="sw-caution">{words.CAUTION}</p>')
    st.html("".join(parts))


if asked and (link is not None or is_known(asked)):
    wall_page.draw(asked, linked=link is None)
else:
    board()
