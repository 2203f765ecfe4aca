"""The ward board: every unit a tile; `?ward=ID` shows one ward."""

from __future__ import annotations

import streamlit as st

from dashboard import words
from dashboard.access import access
from dashboard.board import board_of, places
from dashboard.frame import EVERY_S, look
from dashboard.tiles import board_html, top_html, unlinked

link = access().link
asked = st.query_params.get("ward") if link is None else link.ward


@st.fragment(run_every=EVERY_S)
def board() -> None:
    """Everything in one block: sixty widgets would cost ten times as much."""
    screen = look()
    now = screen.now
    if now is None:
        st.html(screen.strip)
        return
    wards = [(place.id, place.title) for place in places(now)]
    ward = asked if asked in dict(wards) else None
    parts = [screen.strip]
    if asked and ward is None:
        parts.append(f'<p class="sw-hint">{words.NO_WARD}</p>')
    chooser = wards if link is None else []
    parts.append(top_html(now, screen.now_ms, chooser, ward))
    if link is not None and ward is None:
        st.html("".join(parts))  # its ward is not in the site file any more: no other ward is shown instead
        return
    drawn = board_of(now, screen.now_ms, screen.wall_ms, ward)
    if any(block.tiles for block in drawn.wards) or ward:
        parts.append(board_html(drawn, ward))
    else:
        parts.append(f'<p class="sw-hint">{words.EMPTY_SITE}</p>')
    parts.append(f'<p class="sw-caution">{words.CAUTION}</p>')
    html = "".join(parts)
    st.html(html if link is None else unlinked(html))


board()
