"""Reading a cylinder's gauge, made for a phone: which cylinder, what it shows, in which unit."""

from __future__ import annotations

import streamlit as st

from collector.backup.gauge import UNITS, GaugeError, entered_text, gauge_kpa
from collector.rules.entries import CYLINDER_READ, JournalEntry
from collector.site import Cylinder, Site
from dashboard import access_words
from dashboard import backup_words as words
from dashboard.actions import Person, Refused
from dashboard.crew import who_records
from dashboard.desk import draw_outcome, write_down
from dashboard.frame import look
from dashboard.service_actions import read_cylinder


@st.fragment
def draw_gauge(ward: str) -> None:
    """A form for one of the ward's cylinders ("": of all); a value that the cylinder cannot show is refused."""
    now = look().now
    if now is None or now.site is None:
        return
    listed = {one.id: one for one in now.site.cylinders if ward in ("", one.ward)}
    with st.expander(words.READ_GAUGE, key="read-gauge"):
        draw_outcome()
        if not listed:
            st.write(words.NO_CYLINDERS)
            return
        person = who_records(now)
        if not any(person.is_offered(CYLINDER_READ, one.ward) for one in listed.values()):
            st.write(access_words.NOT_OFFERED)
            return
        draw_reading(now.site, ward, person)


def draw_reading(site: Site, ward: str, person: Person) -> None:
    """Which of the ward's cylinders ("": of all that are this person's), its gauge's unit, and what it shows."""
    listed = {one.id: one for one in site.cylinders
              if ward in ("", one.ward) and person.is_offered(CYLINDER_READ, one.ward)}  # fmt: skip
    which = st.selectbox(words.CYLINDER, list(listed), key=f"gauge-{ward}",
                         format_func=lambda name: _title(listed[name]))  # fmt: skip
    unit = st.segmented_control(words.GAUGE_UNIT, list(UNITS), default="bar", required=True, key="gauge-unit")
    with st.form("gauge", border=False, enter_to_submit=True):
        st.number_input(words.SHOWS, 0.0, 1e6, None, 1.0, format="%.0f", key=f"gauge-value-{which}")
        st.form_submit_button(words.WRITE, type="primary", width="stretch", on_click=_write,
                              args=(site, listed[which], person, unit))  # fmt: skip


def _title(cylinder: Cylinder) -> str:
    return f"{cylinder.id} ({cylinder.place})" if cylinder.place else cylinder.id


def _write(site: Site, cylinder: Cylinder, person: Person, unit: str) -> None:
    key = f"gauge-value-{cylinder.id}"
    value = st.session_state[key]

    def make(now_ms: int) -> JournalEntry:
        if value is None:
            raise Refused(words.SHOWS_FIRST)
        try:
            gauge_kpa(value, unit, cylinder)
        except GaugeError as error:
            raise Refused(str(error)) from error
        return read_cylinder(site, cylinder, person, now_ms, value, unit)

    if write_down(make, words.gauge_written(cylinder.id, "" if value is None else entered_text(value, unit))):
        st.session_state[key] = None
