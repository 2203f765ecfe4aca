"""The small forms of what is done to one unit from its page; each writes one row and says so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import streamlit as st

from collector.people.rights import may
from collector.rules import entries
from collector.rules.alarms import Alarm
from collector.rules.entries import JournalEntry
from collector.rules.lifecycle import State
from collector.service.gate import PURPOSES
from collector.site import Site
from collector.terms import title_of
from dashboard import actions, placing
from dashboard import place_words as words
from dashboard import words as common_words
from dashboard.actions import TEXT_MAX, Person, Refused
from dashboard.backup_form import draw_reading
from dashboard.desk import draw_shelf, write_down
from dashboard.queries import Now

#: So many wards are shown as pills, one tap each; more as a list.
_PILLS: Final = 12


class Form(NamedTuple):
    """The forms of one unit for one person; `written` is called after something was written down."""

    now: Now
    unit: str
    person: Person
    written: Callable[[], None]

    @property
    def site(self) -> Site:
        """The site file."""
        assert self.now.site is not None  # noqa: S101 - for the type checker: the page has looked
        return self.now.site

    def _write(self, make: Callable[[int], JournalEntry], done: str = "") -> bool:
        if written := write_down(make, done):
            self.written()
        return written

    def acknowledge(self, alarms: list[Alarm]) -> None:
        """A button for each alarm that nobody has acknowledged."""
        for alarm in alarms:
            if alarm.state in (State.UNACKNOWLEDGED, State.RETURNED):
                title = title_of(alarm.condition)
                st.button(words.acknowledges(title), key=f"do-ack:{':'.join(alarm.key)}", type="primary",
                          width="stretch", on_click=self._acknowledge, args=(alarm, title))  # fmt: skip
        st.caption(words.STAYS)

    def _acknowledge(self, alarm: Alarm, title: str) -> None:
        done = words.acknowledged(title, alarm.unit or alarm.ward)
        self._write(lambda now_ms: actions.acknowledge(alarm, self.person, now_ms), done)

    def shelve(self, alarms: list[Alarm]) -> None:
        """One of its alarms, for how long, and why."""
        titles = {alarm.key: title_of(alarm.condition) for alarm in alarms}
        key = next(iter(titles), None)
        if len(alarms) > 1:
            key = st.selectbox(words.WHICH_ALARM, list(titles), format_func=titles.__getitem__, key="do-shelve-which")
        alarm = next((one for one in alarms if one.key == key), None)
        if alarm is not None:
            draw_shelf(alarm, self.person, self.written)

    def move(self) -> None:
        """To which ward, and why."""
        wards = placing.destinations(self.site, self.unit, self.person)
        if not wards:
            st.write(words.NO_OTHER_WARD)
            return
        titles = {ward: placing.ward_title(self.site, ward) for ward in wards}
        with st.form("do-move", border=False):
            if len(wards) <= _PILLS:
                st.pills(words.TO, wards, format_func=titles.__getitem__, key="do-move-to")
            else:
                st.selectbox(words.TO, wards, index=None, format_func=titles.__getitem__, key="do-move-to")
            st.text_input(words.WHY_MAYBE, key="do-move-why", max_chars=TEXT_MAX)
            st.form_submit_button(words.MOVE, type="primary", width="stretch", key="do-move-it", on_click=self._move)
        st.caption(words.MOVED_HOW)

    def _move(self) -> None:
        to, why = st.session_state["do-move-to"], st.session_state["do-move-why"]

        def make(now_ms: int) -> JournalEntry:
            if to is None:
                raise Refused(words.TO_FIRST)
            return placing.move(self.site, self.unit, to, self.person, now_ms, why)

        self._write(make)

    def swap(self, now_ms: int) -> None:
        """With which unit: where one is proven good it is chosen already; why: the alarm that stands."""
        if (near := placing.spare_here(self.now, self.unit)) is not None:
            st.write(words.spare_here(near.unit, f"{near.good_to_lpm:.1f}"))
        found = {one.unit: one for one in placing.choices(self.now, self.unit, self.person, now_ms)}
        if not found:
            st.write(words.NO_OTHER_UNIT)
            return
        first = next(iter(found.values()))
        with st.form("do-swap", border=False):
            st.selectbox(words.WITH, list(found), index=0 if first.good else None, key=f"do-swap-with-{self.unit}",
                         format_func=lambda unit: found[unit].said)  # fmt: skip
            st.text_input(words.WHY_MAYBE, placing.failing_why(self.now, self.unit), max_chars=TEXT_MAX,
                          key=f"do-swap-why-{self.unit}")  # fmt: skip
            if self._may_take_out() and self.unit not in self.now.out_of_service:
                st.checkbox(words.ALSO_OUT, key=f"do-swap-out-{self.unit}")
            st.form_submit_button(words.SWAP, type="primary", width="stretch", key="do-swap-it", on_click=self._swap)
        st.caption(words.MOVED_HOW)

    def _may_take_out(self) -> bool:
        """A ward fetches a unit of another; taking it out there would be refused once the swap was asked for."""
        ward = self.site.ward_of(self.unit).id
        return may(self.person.role, entries.OUT_OF_SERVICE) and self.person.is_offered(entries.OUT_OF_SERVICE, ward)

    def _swap(self) -> None:
        state, unit = st.session_state, self.unit
        other, why = state[f"do-swap-with-{unit}"], state[f"do-swap-why-{unit}"]
        also_out, ward = state.get(f"do-swap-out-{unit}", False), self.site.ward_of(unit).id

        def make(now_ms: int) -> JournalEntry:
            if other is None:
                raise Refused(words.WITH_FIRST)
            if also_out:
                actions.reason_of(why)  # both are written, or none
            return placing.swap(self.site, unit, other, self.person, now_ms, why)

        if self._write(make) and also_out:
            self._write(lambda now_ms: actions.take_out(unit, ward, self.person, now_ms, why))

    def take_out(self) -> None:
        """Why, and what for."""
        with st.form("do-out", border=False):
            st.text_input(words.OUT_WHY, placing.failing_why(self.now, self.unit), key=f"do-out-why-{self.unit}",
                          max_chars=TEXT_MAX)  # fmt: skip
            st.selectbox(words.OUT_FOR, PURPOSES, key="do-out-for", format_func=lambda what: common_words.OUT_FOR[what])
            st.form_submit_button(words.TAKE_OUT, type="primary", width="stretch", key="do-out-it",
                                  on_click=self._take_out)  # fmt: skip

    def _take_out(self) -> None:
        why, purpose = st.session_state[f"do-out-why-{self.unit}"], st.session_state["do-out-for"]
        ward = self.site.ward_of(self.unit).id
        self._write(lambda now_ms: actions.take_out(self.unit, ward, self.person, now_ms, why, purpose))

    def gauge(self) -> None:
        """One of the ward's cylinders."""
        draw_reading(self.site, self.site.ward_of(self.unit).id, self.person)
