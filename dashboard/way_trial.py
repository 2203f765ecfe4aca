"""A test alarm sent from a screen: the same test as `check --live`, by whoever is signed in, and what arrived.

Rules of this file: a way that cannot be followed from here is said to be untried, never dead.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import msgspec
import streamlit as st

from collector.alarmway import Asked, Outcome, try_way
from collector.alarmway.ear import Ear
from collector.alarmway.trail import SIGNALS, message_way, ward_way
from collector.door import TLS_PORT, Door, DoorError, host_and_port, read_door
from collector.people.acts import ORIGIN
from collector.people.rights import may
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.site import Site
from collector.store import StoreError
from collector.topics import signal_topic
from dashboard import access
from dashboard import first_words as words
from dashboard.actions import Person, Refused, named
from dashboard.frame import forget
from dashboard.launch import ACCOUNT_ENV, data_dir
from dashboard.queries import Now
from dashboard.sheet import sheet_html

WAIT_S: Final = 30.0
_RESULT: Final = "way-trial"


def draw(now: Now, site: Site, person: Person) -> None:
    """The button, and what came of the last test from this screen."""
    if not may(person.role, entries.TEST_ALARM):
        st.info(words.NOT_YOURS_UNITS)
        return
    st.write(words.TEST_HOW)
    if st.button(words.SEND, key="send-test", disabled=not wards_tried(site, person)):
        _run(now, site, person)
    if found := st.session_state.get(_RESULT):
        st.html(sheet_html(words.COLUMNS, rows(found, site)))
        st.write(words.EYES)


def wards_tried(site: Site, person: Person) -> tuple[str, ...]:
    """The wards that are tried: all of them, or those in which an account acts."""
    return tuple(place.id for place in site.places() if person.is_offered(entries.TEST_ALARM, place.id))


def _run(now: Now, site: Site, person: Person) -> None:
    wards = wards_tried(site, person)
    shown: list[Outcome] = []
    with st.status(words.SENDING, expanded=True) as told:
        place = st.empty()

        def show(one: Outcome) -> None:
            shown.append(one)
            place.html(sheet_html(words.COLUMNS, rows(shown, site)))

        try:
            who = named(person)
            asked = Asked(data=data_dir(), door=_door(now, wards), site=site, wards=wards, who=who.name, wait_s=WAIT_S)
            st.session_state[_RESULT] = try_way(asked, now.clock, show, lambda entry: _write(entry, who))
            told.update(label=words.SENT, state="complete", expanded=False)
        except (Refused, StoreError) as error:
            told.update(label=str(error), state="error")
    forget()


def _write(entry: JournalEntry, who: Person) -> JournalRow:
    return access.write(msgspec.structs.replace(entry, who=who.name, role=who.role, origin=ORIGIN))


def _door(now: Now, wards: tuple[str, ...]) -> Door | None:
    """A way to the broker: the account the dashboard was started with, or none where the broker lets anybody listen."""
    if account := os.environ.get(ACCOUNT_ENV):
        try:
            return read_door(Path(account))
        except DoorError as error:
            raise Refused(str(error)) from error
    try:
        host, port = host_and_port(now.collector.broker if now.collector else "")
    except DoorError:
        return None
    door = Door(host, port)
    if port == TLS_PORT:
        return None
    with Ear(door, [signal_topic(now.facility, ward) for ward in wards]) as ear:
        return None if ear.said else door


def rows(found: list[Outcome], site: Site) -> list[tuple[str, str, str, str]]:
    """What arrived, a row a way."""
    titles = {ward_way(place.id): words.signal_to(place.title) for place in site.places()}
    return [
        (titles.get(one.way) or _name(one.way), words.STATES[one.state],
         "" if one.took_s is None else words.seconds(f"{one.took_s:.1f}"),
         words.NO_EAR if one.way == SIGNALS else one.said)
        for one in found
    ]  # fmt: skip


def _name(way: str) -> str:
    prefix = message_way("")
    return words.message_by(way.removeprefix(prefix)) if way.startswith(prefix) else words.WAYS.get(way, way)
