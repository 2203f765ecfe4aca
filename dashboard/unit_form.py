"""The form in which new units are asked for: one, or several alike; shared by every page that has it."""

from __future__ import annotations

from typing import Final

import streamlit as st

from collector.people.rights import ADD_UNITS, may
from collector.rules.entries import JournalEntry
from collector.site import Site
from dashboard import first_words as words
from dashboard.actions import Person, Refused
from dashboard.describing import ALIKE_MAX, added, alike
from dashboard.site_changes import ask

_ID: Final = "new-unit-id"
_SERIAL: Final = "new-unit-serial"


def draw(site: Site, person: Person) -> None:
    """The form, or for whom it is; what it led to is drawn by `site_changes.draw_answers`."""
    if not may(person.role, ADD_UNITS):
        st.info(words.NOT_YOURS_UNITS)
        return
    own = {ward.id: ward.title for ward in site.wards if person.is_offered(ADD_UNITS, ward.id)}
    wards = {"": words.NO_WARD} | own
    with st.form("new-unit", border=False):
        one, two = st.columns(2)
        one.text_input(words.UNIT, key=_ID, max_chars=40, help=words.UNIT_HELP)
        two.number_input(words.COUNT, 1, ALIKE_MAX, key="new-unit-count")
        one.selectbox(words.MODEL, [model.id for model in site.models], key="new-unit-model")
        two.selectbox(words.WARD, list(wards), index=min(1, len(own)), format_func=wards.__getitem__,
                      key="new-unit-ward")  # fmt: skip
        one.text_input(words.SERIAL, key=_SERIAL, max_chars=60)
        st.form_submit_button(words.ADD_UNITS, on_click=_add, args=(site, person), key="add-units")


def _add(site: Site, person: Person) -> None:
    if ask(lambda now_ms: _entries(site, person, now_ms)):
        st.session_state[_ID] = st.session_state[_SERIAL] = ""


def _entries(site: Site, person: Person, now_ms: int) -> list[JournalEntry]:
    state = st.session_state
    first, count = " ".join(state[_ID].split()), int(state["new-unit-count"])
    if not first:
        raise Refused(words.UNIT_MISSING)
    said = {"model": state["new-unit-model"] or "", "ward": state["new-unit-ward"],
            "serial": " ".join(state[_SERIAL].split()) if count == 1 else ""}  # fmt: skip
    kept = {key: value for key, value in said.items() if value}
    return [added("unit", {"id": one, **kept}, person, now_ms)
            for one in alike(first, count, {unit.id for unit in site.units})]  # fmt: skip
