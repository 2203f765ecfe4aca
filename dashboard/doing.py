"""What people do on a unit's page: acknowledge, put aside, move, swap, take out, read a gauge; and taking it back.

Rules of this file: made for a phone in one hand: choose, say what the record needs, done. A button writes to the
journal and changes nothing else; what came of it is read back from there, also what another screen wrote.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Final

import streamlit as st

from collector.people.rights import may
from collector.rules import entries
from collector.rules.alarms import Alarm, urgency
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.lifecycle import State
from collector.store import StoreError
from dashboard import access_words, lately, placing, queries, unit_forms
from dashboard import place_words as words
from dashboard.actions import Person, Refused
from dashboard.board import shared_with
from dashboard.crew import last_person, who_records
from dashboard.desk import draw_outcome, write_down
from dashboard.frame import EVERY_S, look
from dashboard.freshness import collector_lives
from dashboard.lately import Deed
from dashboard.launch import data_dir
from dashboard.queries import Now
from dashboard.record import draw_recording

#: What each deed writes: who may, is asked of the table of rights.
_KINDS: Final = {
    "acknowledge": entries.ACKNOWLEDGE, "shelve": entries.SHELVE, "move": entries.SITE_CHANGE,
    "swap": entries.SITE_CHANGE, "take-out": entries.OUT_OF_SERVICE, "gauge": entries.CYLINDER_READ,
}  # fmt: skip
#: Things done lately that are listed at most.
_SHOWN: Final = 6
_ANEW: Final = "doing-anew"


@st.fragment
def draw_doing(unit: str) -> None:
    """What can be done with this unit, and the form of what is chosen; then the recording of a task."""
    now = look().now
    if now is None or now.site is None:
        return
    if st.session_state.pop(_ANEW, False):
        st.rerun(scope="app")
    draw_outcome()
    person: Person | None = None
    offered = _offered(now, unit)
    chosen = st.pills(words.DO, offered, format_func=words.DOINGS.__getitem__, key=f"do-{unit}",
                      label_visibility="collapsed") if offered else None  # fmt: skip
    if chosen is not None:
        with st.container(border=True, key="doing"):
            person = who_records(now)
            _draw_chosen(now, unit, person, chosen)
    draw_recording(now, unit, person)


def _offered(now: Now, unit: str) -> list[str]:
    """What there is to do with the unit now; somebody who is signed in is offered what their account may."""
    site, person = now.site, last_person(now)
    if site is None or site.unit(unit) is None:
        return []
    own, ward = alarms_of(now, unit), site.ward_of(unit).id
    there = {
        "acknowledge": any(one.state in (State.UNACKNOWLEDGED, State.RETURNED) for one in own),
        "shelve": any(one.speaks for one in own), "move": True, "swap": len(site.units) > 1,
        "take-out": unit not in now.out_of_service, "gauge": any(one.ward == ward for one in site.cylinders),
    }  # fmt: skip
    return [name for name, is_there in there.items() if is_there and (
        person.is_offered(_KINDS[name], "" if _KINDS[name] == entries.SITE_CHANGE else ward))]  # fmt: skip


def alarms_of(now: Now, unit: str) -> list[Alarm]:
    """A unit's own alarms and those of its ward that speak for it, worst first."""
    own = [alarm for alarm in now.alarms if alarm.unit == unit]
    return sorted([*own, *shared_with(unit, now.alarms, now)], key=urgency)


def _draw_chosen(now: Now, unit: str, person: Person, chosen: str) -> None:
    if person.name.strip() and not may(person.role, _KINDS[chosen]):
        st.write(access_words.NOT_OFFERED if person.signed_in else words.NOT_YOURS)
        return
    form = unit_forms.Form(now, unit, person, partial(_written, unit))
    match chosen:
        case "acknowledge":
            form.acknowledge(alarms_of(now, unit))
        case "shelve":
            form.shelve([one for one in alarms_of(now, unit) if one.speaks])
        case "move":
            form.move()
        case "swap":
            form.swap(look().now_ms)
        case "take-out":
            form.take_out()
        case "gauge":
            form.gauge()


def _written(unit: str) -> None:
    """Close the form: a second tap would write it twice; what was done lately is drawn above at once."""
    st.session_state[f"do-{unit}"], st.session_state[_ANEW] = None, True


def rows_lately(now_ms: int) -> list[JournalRow]:
    """The rows of which `lately` tells; StoreError."""
    return queries.journal(data_dir(), kinds=lately.KINDS, from_ms=now_ms - lately.LOOK_BACK_MS)


@st.fragment(run_every=EVERY_S)
def draw_lately_of(unit: str, ward: str) -> None:
    """What was done to this unit lately; the page is drawn anew once the unit stands in another ward."""
    screen = look()
    if screen.now is None or screen.now.site is None:
        return
    if screen.now.site.unit(unit) is None or screen.now.site.ward_of(unit).id != ward:
        st.rerun(scope="app")
    draw_lately(lambda row: lately.is_about(row, unit))


def draw_lately(fits: Callable[[JournalRow], bool]) -> None:
    """What was done in the last minutes, what came of it, and Undo where that is safe."""
    screen = look()
    if screen.now is None:
        return
    now, lives, found = screen.now, collector_lives(screen.now, screen.wall_ms), list[Deed]()
    with suppress(StoreError):  # the strip says so
        found = [one for one in lately.deeds(rows_lately(screen.now_ms), now, screen.wall_ms) if fits(one.row)]
    person = last_person(now)
    for deed in found[:_SHOWN]:
        said = f"{lately.what_text(deed.row, now, screen.now_ms)}. {lately.state_text(deed, lives=lives)}"
        shown = {lately.WAITING: st.info, lately.FAILED: st.error}.get(deed.state, st.success)
        with st.container(horizontal=True, vertical_alignment="center", key=f"lately-{deed.row.seq}"):
            shown(said)
            if deed.back and _may_undo(deed, now, person):
                st.button(words.UNDO, key=f"undo-{deed.row.seq}", on_click=_undo, args=(deed.row.seq,))


def _may_undo(deed: Deed, now: Now, person: Person) -> bool:
    """Whether this person is offered to take it back; who has no name yet is told so when they try."""
    if now.site is None:
        return False
    someone = person if person.name.strip() else person._replace(name="?", role=deed.row.role)
    return placing.may_write(lately.undo(deed, someone, 0), someone, now.site)


def _undo(seq: int) -> None:
    def make(now_ms: int) -> JournalEntry:
        screen = look(held=False)
        if screen.now is None:
            raise Refused(words.TOO_LATE)
        found = lately.deeds(rows_lately(now_ms), screen.now, screen.wall_ms)
        deed = next((one for one in found if one.row.seq == seq), None)
        if deed is None:
            raise Refused(words.TOO_LATE)
        return lately.undo(deed, last_person(screen.now), now_ms)

    write_down(make, "")
