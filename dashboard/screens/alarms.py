"""Alarms: all that speak now, what people do about them, what is held back, and what was."""

from __future__ import annotations

import streamlit as st

from collector.rules.entries import ACKNOWLEDGE, CONDITION
from dashboard import help_words, queries, screen_words, words
from dashboard.board import places
from dashboard.desk import draw_earlier, draw_held, draw_outcome, draw_service, draw_speaking, who_acts
from dashboard.doing import draw_lately
from dashboard.episodes import episodes
from dashboard.figures import episode_rows
from dashboard.frame import SLOWLY_S, help_beside, in_words, look, needed_now, strip, table
from dashboard.lately import in_ward
from dashboard.launch import data_dir

strip()
now, _ = needed_now()
st.header(words.PAGE_ALARMS)
wards = {place.id: place.title for place in places(now)}
person, ward = who_acts(wards)


@st.fragment(run_every=3)
def desk() -> None:
    """Everything that changes by itself or by a button."""
    screen = look()
    if screen.now is None:
        return
    with st.container(key="said-last"):
        draw_outcome()
    with st.container(key="done-lately"):
        draw_lately(lambda row: in_ward(row, ward))
    with st.container(key="speaking"):
        draw_speaking(screen, person, ward)
    with st.container(key="earlier"):
        draw_earlier(screen, person, ward)
    with st.container(key="held"):
        draw_held(screen, person, ward)
    with st.container(key="service-of-units"):
        draw_service(screen.now, person)


@st.fragment(run_every=SLOWLY_S)
def history() -> None:
    """What was raised lately, and how it ended."""
    st.subheader(screen_words.SO_FAR)
    with in_words():
        rows = queries.journal(data_dir(), kinds=(CONDITION, ACKNOWLEDGE))
        found = [one for one in episodes(rows) if ward is None or one.ward == ward]
        table(episode_rows(found, now, look().now_ms))


desk()
history()
help_beside(help_words.ALARMS)
