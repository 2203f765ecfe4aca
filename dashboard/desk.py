"""The parts of the alarm screen on which people act.

Rules of this file: a button writes to the journal and says what happened; it never changes what is shown by itself.
What is shown changes when the collector has taken the entry up, so screen and record cannot differ.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import streamlit as st

from collector.people.rights import OVERRIDE, ROLES
from collector.rules import entries
from collector.rules.alarms import Alarm, urgency
from collector.rules.entries import JournalEntry
from collector.rules.lifecycle import State
from collector.service.gate import PURPOSES, may_return, standings
from collector.store import StoreError
from collector.terms import title_of
from collector.tongue import said
from dashboard import access, access_words, actions, service_words, words
from dashboard.actions import Person, Refused
from dashboard.figures import alarm_html
from dashboard.frame import Screen, forget, look, told
from dashboard.freshness import collector_lives
from dashboard.launch import data_dir
from dashboard.queries import Now, service_rows
from dashboard.times import moment_text
from dashboard.told import told_text

#: Alarms with buttons on one screen: more would be slow to draw and no use to anybody. The rest is counted.
SHOWN: Final = 40
_OUTCOME: Final = "outcome"


def who_acts(wards: Mapping[str, str]) -> tuple[Person, str | None]:
    """Name and role, remembered for this session, and which ward's alarms to show (None: all)."""
    if (person := access.current()) is not None:
        one, three = st.columns(2)
        one.write(access_words.signed_in_as(person))
        shown = three.selectbox(service_words.WARD, ["", *wards], index=_own_ward(person, wards),
                                format_func=lambda ward: wards.get(ward, service_words.ALL_WARDS))  # fmt: skip
        return person, shown or None
    state = st.session_state
    one, two, three = st.columns(3)
    name = one.text_input("Your name", value=state.get("who", ""), max_chars=60, key="name")
    role = two.selectbox(
        "Your role", ROLES, index=ROLES.index(state.get("as", "ward")), key="role", format_func=words.name_of
    )
    state["who"], state["as"] = name, role  # a widget's own state is dropped when another screen is opened
    chosen = three.selectbox("Ward", ["", *wards], format_func=lambda ward: wards.get(ward, service_words.ALL_WARDS))
    return Person(name, role), chosen or None


def _own_ward(person: Person, wards: Mapping[str, str]) -> int:
    """The place of somebody's only ward among all of them; 0 stands for all."""
    own = person.wards[0] if len(person.wards) == 1 else ""
    return [*wards].index(own) + 1 if own in wards else 0


def act(make: Callable[[int], JournalEntry], done: str) -> None:
    """Write down what `make` gives for this moment and remember what to say about it."""
    write_down(make, done)


def write_down(make: Callable[[int], JournalEntry], done: str) -> bool:
    """Write down what `make` gives for this moment, remember what to say about it; returns whether it was written.

    `done` "": what is drawn of things done lately says it.
    """
    screen = look(held=False)
    try:
        row = access.write(make(screen.now_ms))
    except (Refused, StoreError) as error:
        st.session_state[_OUTCOME] = (False, str(error))
        return False
    forget()
    if not done:
        st.session_state[_OUTCOME] = None
        return True
    lives = screen.now is not None and collector_lives(screen.now, screen.wall_ms)
    when = moment_text(row.at_ms, row.at_ms, screen.now.zone) if screen.now else ""
    then = words.FOLDED_SOON if lives else words.FOLDED_LATER
    st.session_state[_OUTCOME] = (
        True,
        f"{done} by {row.who} ({words.name_of(row.role)}) at {when}: row {row.seq}. {then}",
    )
    return True


def draw_outcome() -> None:
    """What the last button did; stays until the next one."""
    if (outcome := st.session_state.get(_OUTCOME)) is not None:
        good, text = outcome
        (st.success if good else st.error)(text)


def _of_ward(alarms: list[Alarm], ward: str | None) -> list[Alarm]:
    return sorted((alarm for alarm in alarms if ward in (None, alarm.ward)), key=urgency)


def _listed(title: str, alarms: list[Alarm]) -> list[Alarm]:
    st.subheader(f"{title}: {len(alarms)}" if alarms else title)
    if not alarms:
        st.write("None.")
    elif len(alarms) > SHOWN:
        st.write(f"The {SHOWN} most urgent are listed; choose a ward to see the others.")
    return alarms[:SHOWN]


def _name(alarm: Alarm) -> str:
    return f"“{title_of(alarm.condition)}” of {alarm.unit or alarm.ward}"


def _key(alarm: Alarm, what: str) -> str:
    return f"{what}:{':'.join(alarm.key)}"


def draw_speaking(screen: Screen, person: Person, ward: str | None) -> None:
    """What speaks now, worst first."""
    assert screen.now is not None  # noqa: S101 - for the type checker: the caller has looked
    found = told(screen.now_ms)
    changed: set[str] = set()  # units whose change-over stands above already
    for alarm in _listed("Now", _of_ward(screen.now.speaking(), ward)):
        said = told_text(alarm, found, screen.now_ms, screen.now.zone)
        with st.container(horizontal=True, vertical_alignment="center", key=_key(alarm, "alarm").replace(":", "-")):
            st.html(alarm_html(alarm, screen.now, screen.now_ms, said, change=alarm.unit not in changed))
            changed |= {alarm.unit} - {""}
            if alarm.state == State.UNACKNOWLEDGED and person.is_offered(entries.ACKNOWLEDGE, alarm.ward):
                _acknowledge_button(alarm, person)
            if person.is_offered(entries.SHELVE, alarm.ward):
                _shelve_form(alarm, person)


def _acknowledge_button(alarm: Alarm, person: Person) -> None:
    def make(now_ms: int) -> JournalEntry:
        return actions.acknowledge(alarm, person, now_ms)

    done = f"{_name(alarm)} acknowledged"
    st.button("Acknowledge", key=_key(alarm, "ack"), type="primary", on_click=act, args=(make, done))


def _shelve_form(alarm: Alarm, person: Person) -> None:
    # Its state is tracked: a new alarm above may draw the row anew, and somebody is writing in it.
    with st.popover("Put aside", key=_key(alarm, "aside"), on_change="rerun"):
        draw_shelf(alarm, person)


def draw_shelf(alarm: Alarm, person: Person, then: Callable[[], None] | None = None) -> None:
    """For how long an alarm is put aside, and why; `then` is called when it is written down."""
    minutes_key, reason_key = _key(alarm, "minutes"), _key(alarm, "reason")

    def put_aside() -> None:
        minutes, reason = st.session_state[minutes_key], st.session_state[reason_key]
        if write_down(lambda now_ms: actions.shelve(alarm, person, now_ms, minutes, reason), "") and then:
            then()

    with st.form(_key(alarm, "shelf"), border=False):
        st.selectbox("For how long", actions.shelf_choices(alarm), format_func=actions.shelf_text, key=minutes_key)
        st.text_input("Why", key=reason_key, max_chars=actions.TEXT_MAX)
        st.form_submit_button("Put aside", on_click=put_aside)


def draw_earlier(screen: Screen, person: Person, ward: str | None) -> None:
    """What was there and went away before anybody acknowledged it."""
    assert screen.now is not None  # noqa: S101 - for the type checker: the caller has looked
    gone = _of_ward([alarm for alarm in screen.now.alarms if alarm.state == State.RETURNED], ward)
    for alarm in _listed("Gone, not acknowledged", gone) if gone else ():
        with st.container(horizontal=True, vertical_alignment="center", key=_key(alarm, "gone").replace(":", "-")):
            st.html(alarm_html(alarm, screen.now, screen.now_ms))
            if person.is_offered(entries.ACKNOWLEDGE, alarm.ward):
                _acknowledge_button(alarm, person)


def draw_held(screen: Screen, person: Person, ward: str | None) -> None:
    """What is held back, and until when."""
    assert screen.now is not None  # noqa: S101 - for the type checker: the caller has looked
    now = screen.now
    held = _of_ward([alarm for alarm in now.alarms if alarm.held], ward)
    for alarm in _listed("Put aside or out of service", held) if held else ():
        with st.container(horizontal=True, vertical_alignment="center", key=_key(alarm, "held").replace(":", "-")):
            st.html(alarm_html(alarm, now, screen.now_ms))
            if alarm.state == State.SHELVED:
                st.write(f"until **{moment_text(alarm.shelved_until_ms, screen.now_ms, now.zone)}**")
                if person.is_offered(entries.UNSHELVE, alarm.ward):
                    st.button("Bring back", key=_key(alarm, "back"), on_click=act,
                              args=(_unshelve(alarm, person), f"{_name(alarm)} brought back"))  # fmt: skip
            else:
                st.write(words.name_of(alarm.state))


def _unshelve(alarm: Alarm, person: Person) -> Callable[[int], JournalEntry]:
    return lambda now_ms: actions.unshelve(alarm, person, now_ms)


def draw_service(now: Now, person: Person) -> None:
    """Take a unit out of service, or return it."""
    st.subheader("Units in and out of service")
    units = [unit.id for unit in now.site.units] if now.site else list(now.units)
    if not units:
        st.write(words.EMPTY_SITE)
        return
    out = [unit for unit in units if unit in now.out_of_service]
    st.write(f"Out of service: {', '.join(out) or said('none')}.")
    own = [unit for unit in units if person.is_offered(entries.OUT_OF_SERVICE, _ward_of(now, unit))]
    if not own:
        return
    with st.form("service", border=False):
        one, two = st.columns(2)
        one.selectbox("Unit to take out or return", own, key="service-unit",
                      format_func=lambda unit: words.to_return(unit) if unit in out else unit)  # fmt: skip
        two.text_input("Why", key="service-reason", max_chars=actions.TEXT_MAX)
        one.selectbox("Taken out for", PURPOSES, key="service-for", format_func=lambda what: words.OUT_FOR[what])
        if person.is_offered(OVERRIDE):
            two.checkbox(words.OVERRIDE, key="service-override")
        st.form_submit_button("Take out or return", on_click=_change_service, args=(now, person))


def _ward_of(now: Now, unit: str) -> str:
    return now.site.ward_of(unit).id if now.site else ""


def _change_service(now: Now, person: Person) -> None:
    state = st.session_state
    unit, reason = state["service-unit"], state["service-reason"]
    ward = _ward_of(now, unit)
    override = state.get("service-override", False)
    if override:
        state["service-override"] = False  # a tick for one unit is none for the next

    def take_out(now_ms: int) -> JournalEntry:
        return actions.take_out(unit, ward, person, now_ms, reason, state["service-for"])

    def put_back(now_ms: int) -> JournalEntry:
        standing = standings(now.site, service_rows(data_dir(), unit)).get(unit)
        gate = may_return(standing, now_ms)
        return actions.put_back(unit, ward, person, now_ms, reason, gate, override=override)

    if unit in now.out_of_service:
        act(put_back, f"{unit} returned to service")
    else:
        act(take_out, "")
