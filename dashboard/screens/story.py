"""The story that a demo plays: what has happened so far, what the alarms said, and (closed) what is still to come."""

from __future__ import annotations

import streamlit as st

from collector.rules.entries import ACKNOWLEDGE, CONDITION
from dashboard import queries, words
from dashboard import story_words as texts
from dashboard.episodes import episodes
from dashboard.frame import EVERY_S, in_words, look, needed_now, strip
from dashboard.launch import data_dir
from dashboard.queries import Now
from dashboard.sheet import sheet_html
from dashboard.story import Story, clock_line, coming_rows, story_in, told_rows

strip()
now, _ = needed_now()
st.header(texts.PAGE)
if not now.simulated:
    st.info(texts.NOT_SIMULATED)
    st.stop()
st.write(texts.INVENTED)
story = story_in(now.story)
if story is None:
    st.info(texts.NONE)
    st.stop()
st.subheader(story.title)
if story.why:
    st.write(story.why)


@st.fragment(run_every=EVERY_S + 3)
def told(told: Story) -> None:
    """The story at the hospital's clock, drawn anew as it goes on."""
    screen = look()
    if screen.now is None:
        return
    with in_words():
        _draw(told, screen.now, screen.now_ms)


def _draw(told: Story, known: Now, now_ms: int) -> None:
    st.write(clock_line(told, known, now_ms))
    if not told.parts:
        st.write(texts.QUIET)
        return
    rows = queries.journal(data_dir(), kinds=(CONDITION, ACKNOWLEDGE), from_ms=min(part.at_ms for part in told.parts))
    st.subheader(texts.SO_FAR)
    so_far = told_rows(told, known, now_ms, episodes(rows))
    st.html(sheet_html(texts.COLUMNS, so_far)) if so_far else st.write(texts.NOTHING_YET)
    st.caption(texts.ALARMS)
    with st.expander(texts.TO_COME):
        coming = coming_rows(told, known, now_ms)
        st.html(sheet_html(texts.COLUMNS_TO_COME, coming)) if coming else st.write(texts.NO_MORE)
    st.caption(texts.TO_COME_HOW)


told(story)
st.caption(words.CAUTION)
