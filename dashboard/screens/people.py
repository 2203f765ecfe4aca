"""People, for administrators: accounts, who is signed in, links of wall screens, and what happened at the door."""

from __future__ import annotations

import streamlit as st

from collector.people.rights import PEOPLE as RIGHT
from dashboard import access, peoplerows, queries
from dashboard import access_words as words
from dashboard.frame import SLOWLY_S, in_words, needed_now, strip, table
from dashboard.launch import data_dir
from dashboard.register import draw_account, draw_adding, draw_links, draw_outcome, draw_sessions

strip()
now, now_ms = needed_now()
st.header(words.PEOPLE)
person = access.current()
if person is None or not person.is_offered(RIGHT):
    st.info(words.OPEN_HOW if now.open_to_all else words.FOR_ADMINISTRATORS)
    st.stop()
draw_outcome()
with in_words():
    known = peoplerows.people(data_dir())
    wards = {ward.id: ward.name or ward.id for ward in now.site.wards} if now.site else {}
    st.subheader(words.ACCOUNTS)
    table(peoplerows.account_rows(known))
    draw_adding(wards)
    draw_account(known, wards)
    st.subheader(words.SIGNED_IN_NOW)
    draw_sessions(known, now)
    st.subheader(words.WALL_SCREENS)
    draw_links(known, wards, now)


@st.fragment(run_every=SLOWLY_S)
def door() -> None:
    """What happened at the door lately."""
    access.hold()
    with in_words():
        rows = queries.journal(data_dir(), kinds=peoplerows.DOOR_KINDS, limit=100)
        table(peoplerows.door_rows(rows, now))


st.subheader(words.DOOR)
door()
