"""Asks for changes of the site file from a screen, and says what became of them.

Rules of this file: a screen only asks; what it shows of the site file is what the collector has written into it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import streamlit as st

from collector.rules.entries import SITE_CHANGED, JournalEntry
from collector.siteedit.keeper import REFUSED
from collector.store import StoreError
from dashboard import access, queries
from dashboard import first_words as words
from dashboard.actions import Refused
from dashboard.frame import forget, look
from dashboard.freshness import collector_lives
from dashboard.launch import data_dir
from dashboard.queries import Now

_ASKED: Final = "site-asked"  # rows that this screen wrote, until the next are asked for
_FAULT: Final = "site-fault"


def ask(make: Callable[[int], Sequence[JournalEntry]]) -> bool:
    """Write down what `make` gives for this moment; returns whether all of it was written.

    What was written before something is refused stays written: each entry is a change of its own.
    """
    state, now_ms = st.session_state, look(held=False).now_ms
    state[_ASKED], state[_FAULT] = [], ""
    try:
        for entry in make(now_ms):
            state[_ASKED].append(access.write(entry).seq)
    except (Refused, StoreError) as error:
        state[_FAULT] = str(error)
    forget()
    return not state[_FAULT]


def draw_fault() -> None:
    """Why what was asked for last was not written down."""
    if st.session_state.get(_FAULT):
        st.error(st.session_state[_FAULT])


def draw_answers(now: Now, wall_ms: int) -> None:
    """What became of what this screen asked for last: waiting, written, or refused with the reason; StoreError."""
    state = st.session_state
    draw_fault()
    if not (rows := state.get(_ASKED)):
        return
    answered = [row for row in queries.journal(data_dir(), kinds=(SITE_CHANGED,)) if row.body.get("change") in rows]
    for row in answered:
        if row.body.get("result") == REFUSED:
            st.error(words.refused(str(row.body.get("said", ""))))
    if made := sum(row.body.get("result") != REFUSED for row in answered):
        st.success(words.made(made))
    if left := len(rows) - len(answered):
        lives = collector_lives(now, wall_ms)
        st.info(f"{words.waiting(left)}{'' if lives else ' ' + words.WAITS_LONG}")
