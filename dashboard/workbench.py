"""The parts of the work orders' screen on which people act: open one, check, close it, return the unit.

Rules of this file: as in desk.py, a button writes to the journal and says what happened, and changes nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

from collector.people.rights import OVERRIDE
from collector.rules.alarms import Alarm
from collector.rules.catalogue import CAUSES
from collector.rules.entries import WORK_CLOSED, WORK_OPENED, JournalEntry, JournalRow
from collector.service.gate import Gate, may_return, standings
from collector.service.repaired import judge_repair, span_asked
from collector.service.work import WorkOrder
from collector.site import Site
from collector.terms import title_of
from dashboard import actions, queries
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.actions import TEXT_MAX, Person
from dashboard.checks import draw_check
from dashboard.desk import act
from dashboard.launch import data_dir
from dashboard.orders import order_figures
from dashboard.queries import Now
from dashboard.service_actions import MINUTES_MOST, PIECES_MOST, Findings, close_work, open_work
from dashboard.sheet import facts_html

#: Points of capacity asked for a judgement: one an hour for as long as it looks back and on.
_POINTS = 2_000


def draw_opening(now: Now, person: Person, orders: Mapping[str, WorkOrder]) -> None:
    """Open an order for a unit, from one of its alarms or for a reason of one's own."""
    site = now.site
    units = [unit.id for unit in site.units if person.is_offered(WORK_OPENED, site.ward_of(unit.id).id)] if site else []
    if site is None or not units:
        return
    with st.expander(words.OPEN_ORDER, key="opening"):  # named: a choice in it must not close it
        one, two = st.columns(2)
        unit = one.selectbox(words.UNIT, units, key="open-unit")
        alarms = [alarm for alarm in now.alarms if alarm.unit == unit and alarm.active]
        alarm = two.selectbox(words.FROM_ALARM, [None, *alarms], key=f"open-alarm-{unit}", format_func=_alarm_text)
        usual = title_of(alarm.condition) if alarm else ""
        why = st.text_input(words.WHY, max_chars=TEXT_MAX, key=f"open-why-{unit}", placeholder=usual).strip() or usual

        def make(now_ms: int) -> JournalEntry:
            return open_work(site, unit, person, now_ms, why, taken=orders, alarm=alarm)

        st.button(words.OPEN_ORDER, key="open-order", on_click=act, args=(make, f"{unit}: {words.ORDER_OPENED}"))


def _alarm_text(alarm: Alarm | None) -> str:
    return words.NO_ALARM if alarm is None else title_of(alarm.condition)


def draw_order(
    now: Now, now_ms: int, person: Person, orders: Mapping[str, WorkOrder], rows: Sequence[JournalRow]
) -> None:  # fmt: skip
    """One order: what is known of it, and what can be done next."""
    if now.site is None:
        return
    names = sorted(orders, key=lambda name: (not orders[name].is_open, -orders[name].seq))
    asked = st.query_params.get("order")
    name = st.selectbox(words.ORDER, names, index=names.index(asked) if asked in names else 0, width=420,
                        format_func=lambda name: name if orders[name].is_open else words.closed_name(name))  # fmt: skip
    order = orders[name]
    st.html(facts_html(order_figures(order, now, now_ms)))
    points = queries.unit_capacity(data_dir(), order.unit, *span_asked(order, now_ms), _POINTS)
    st.write(judge_repair(order, points, now.model_of(order.unit), now_ms).text)
    if now.site.unit(order.unit) is None:
        return
    ward = now.site.ward_of(order.unit).id
    if not person.is_offered(WORK_CLOSED, ward):
        return
    if order.is_open:
        check, closing = st.columns(2)
        with check:
            st.subheader(words.CHECK)
            draw_check(now, order.unit, person, order)
        with closing:
            st.subheader(words.CLOSE_ORDER)
            _draw_closing(now.site, order, person)
    if order.unit in now.out_of_service:
        _draw_return(now.site, order, person, may_return(standings(now.site, rows).get(order.unit), now_ms))


def _draw_closing(site: Site, order: WorkOrder, person: Person) -> None:
    key = f"close-{order.work}"
    titles = {part.id: part.title for part in site.parts}
    used = st.multiselect(words.PARTS_USED, list(titles), format_func=titles.__getitem__, key=f"{key}-parts")
    with st.form(key, border=False):
        pieces = {name: st.number_input(words.pieces_of(titles[name]), 1, PIECES_MOST, 1, key=f"{key}-{name}")
                  for name in used}  # fmt: skip
        st.text_input(words.FAULT_FOUND, key=f"{key}-fault", max_chars=TEXT_MAX)
        st.selectbox(words.CAUSE, CAUSES, index=CAUSES.index("unknown"), key=f"{key}-cause",
                     format_func=lambda cause: common_words.CAUSE_TITLES.get(cause, cause))  # fmt: skip
        st.text_input(words.ACTION, key=f"{key}-action", max_chars=TEXT_MAX)
        st.number_input(words.MINUTES, 0.0, MINUTES_MOST, 30.0, 5.0, format="%.0f", key=f"{key}-minutes")
        st.form_submit_button(words.CLOSE_ORDER, on_click=_close, args=(site, order, person, list(pieces)))


def _close(site: Site, order: WorkOrder, person: Person, used: Sequence[str]) -> None:
    state, key = st.session_state, f"close-{order.work}"
    parts = {name: int(state[f"{key}-{name}"]) for name in used}
    minutes = state[f"{key}-minutes"]
    found = Findings(state[f"{key}-fault"], state[f"{key}-cause"], state[f"{key}-action"], parts, minutes or 0.0)
    act(lambda now_ms: close_work(site, order, person, now_ms, found), f"{order.work}: {words.ORDER_CLOSED}")


def _draw_return(site: Site, order: WorkOrder, person: Person, gate: Gate) -> None:
    st.subheader(words.RETURN)
    st.write(words.MAY_RETURN if gate.may else words.may_not_return(gate.why, gate.way_out))
    with st.form("return", border=False):
        st.text_input(words.WHY, key=f"return-why-{order.unit}", max_chars=TEXT_MAX)
        if not gate.may and person.is_offered(OVERRIDE):
            # A tick for one unit is none for the next.
            st.checkbox(common_words.OVERRIDE, key=f"return-override-{order.unit}")
        st.form_submit_button(words.RETURN, on_click=_return, args=(site, order.unit, person))


def _return(site: Site, unit: str, person: Person) -> None:
    state, ward = st.session_state, site.ward_of(unit).id

    def put_back(now_ms: int) -> JournalEntry:
        gate = may_return(standings(site, queries.service_rows(data_dir(), unit)).get(unit), now_ms)
        override = state.get(f"return-override-{unit}", False)
        return actions.put_back(unit, ward, person, now_ms, state[f"return-why-{unit}"], gate, override=override)

    act(put_back, f"{unit} {words.RETURNED}")
