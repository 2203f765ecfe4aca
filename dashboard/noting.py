"""A note about a unit at a moment: written to the journal, drawn in its charts; the pure part and its form."""

from __future__ import annotations

from datetime import date, datetime, time
from functools import partial
from typing import Final

import streamlit as st

from collector.people.acts import ORIGIN
from collector.people.rights import ROLES
from collector.rules.entries import NOTE, JournalEntry
from collector.store import StoreError
from dashboard import access, access_words, service_words
from dashboard import past_words as words
from dashboard.actions import TEXT_MAX, Person, Refused, named
from dashboard.frame import look
from dashboard.queries import Now
from dashboard.times import MINUTE, local
from dashboard.words import name_of

_OUTCOME: Final = "note-outcome"


def note(unit: str, ward: str, person: Person, now_ms: int, at_ms: int, text: str) -> JournalEntry:
    """What somebody noted of a moment up to now; Refused without a name or a text, or for a moment ahead."""
    who, said = named(person), " ".join(text.split())[:TEXT_MAX]
    if not said:
        raise Refused(words.NOTE_EMPTY)
    if at_ms > now_ms + MINUTE:  # the form says whole minutes
        raise Refused(words.NOTE_AHEAD)
    return JournalEntry(at_ms=min(at_ms, now_ms), kind=NOTE, unit=unit, ward=ward, who=who.name, role=who.role,
                        origin=ORIGIN, body={"text": said})  # fmt: skip


def moment_ms(day: date, at: time, now: Now) -> int:
    """A day and a time by the facility's clock."""
    return round(datetime.combine(day, at, now.zone).timestamp() * 1000)


@st.fragment
def draw_note(unit: str) -> None:
    """The form, folded away; what is proposed is now."""
    screen = look()
    now = screen.now
    if now is None:
        return
    with st.expander(words.ADD_NOTE, key="add-note"):
        if (outcome := st.session_state.get(_OUTCOME)) is not None:
            (st.success if outcome[0] else st.error)(outcome[1])
        person = _person()
        known = now.site is not None and now.site.unit(unit) is not None
        ward = now.site.ward_of(unit).id if now.site is not None and known else ""
        if not person.is_offered(NOTE, ward):
            st.write(access_words.NOT_OFFERED)
            return
        here = local(screen.now_ms, now.zone)
        with st.form("note", border=False):
            st.text_input(words.NOTE_TEXT, key="note-text", max_chars=TEXT_MAX, help=words.NOTE_HELP)
            one, two = st.columns(2)
            one.date_input(words.NOTE_DAY, here.date(), key="note-day", max_value=here.date(), format="YYYY-MM-DD")
            two.time_input(words.NOTE_TIME, here.time().replace(second=0, microsecond=0), key="note-time", step=60)
            st.form_submit_button(words.NOTE_KEEP, on_click=_write, args=(now, unit, ward, person))
        st.caption(words.NOTE_PLACE)


def _person() -> Person:
    """Whoever is signed in; else who they say they are, as the rest of this screen asks it."""
    if (signed_in := access.current()) is not None:
        return signed_in
    state = st.session_state
    one, two = st.columns(2)
    name = one.text_input(service_words.WHO, value=state.get("who", ""), max_chars=60, key="note-who")
    role = two.selectbox(
        service_words.ROLE, ROLES, index=ROLES.index(state.get("as", ROLES[0])), key="note-role", format_func=name_of
    )
    return Person(name, role)


def _write(now: Now, unit: str, ward: str, person: Person) -> None:
    state = st.session_state
    if not person.signed_in:  # as the form says now, not as it said when it was drawn
        person = Person(str(state["note-who"]), str(state["note-role"]))
        state["who"], state["as"] = person.name, person.role
    at_ms = moment_ms(state["note-day"], state["note-time"], now)
    make = partial(_entry, unit, ward, person, at_ms, str(state["note-text"]))
    try:
        access.write(make(look(held=False).now_ms))
    except (Refused, StoreError) as error:
        state[_OUTCOME] = (False, str(error))
        return
    state[_OUTCOME], state["note-text"] = (True, words.note_done(unit)), ""


def _entry(unit: str, ward: str, person: Person, at_ms: int, text: str, now_ms: int) -> JournalEntry:
    return note(unit, ward, person, now_ms, at_ms, text)
