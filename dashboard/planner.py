"""The plan of visits as rows, and the form in which people lock, move, cancel and finish visits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby

import streamlit as st

from collector.people.rights import may_visit
from collector.rules.entries import VISIT, JournalEntry
from collector.service.reasons import Deferral
from collector.service.visits import Plan, Visit
from collector.site import Site
from collector.terms import task_of
from dashboard import plan_words as texts
from dashboard import service_words as words
from dashboard.actions import TEXT_MAX, Person
from dashboard.desk import act
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.service_actions import set_visit
from dashboard.sheet import Cell, Row
from dashboard.times import MINUTE, lasted_text

STATES = ("locked", "moved", "cancelled", "done")


def weeks_of(visits: Iterable[Visit]) -> list[tuple[date, list[Visit]]]:
    """Visits by the Monday of their week, in order."""
    return [(monday, list(found)) for monday, found in groupby(visits, lambda one: monday_of(one.day))]


def monday_of(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def visit_rows(visits: Sequence[Visit], now: Now) -> list[Row]:
    """One row a visit: day and time, unit, what is done, how long the unit is out, and how firm it is."""
    return [
        (Cell(texts.visit_when(one.day, one.start_min)), Cell(one.unit, one.unit), ward_title(now, one.ward),
         Cell("; ".join(task_of(task.title) for task in one.tasks), note="; ".join(one.cautions)),
         lasted_text(one.minutes * MINUTE),
         Cell(lasted_text(one.out_min * MINUTE) if one.out_min else "", note=texts.from_cylinders(one.gas_l)),
         Cell(texts.VISIT_STATES.get(one.state, one.state), note=one.why))
        for one in visits
    ]  # fmt: skip


def deferral_rows(found: Iterable[Deferral], now: Now) -> list[Row]:
    """One row a task that is late or left out, with its reason."""
    return [
        (Cell(one.unit, one.unit), ward_title(now, one.ward), task_of(one.title), texts.day_of(one.due),
         texts.day_of(one.day) if one.day else texts.NOT_PLANNED, one.said)
        for one in found
    ]  # fmt: skip


def plan_figures(plan: Plan) -> list[tuple[str, str]]:
    """What the plan comes to, beside the plain order of due dates."""
    mine, plain = plan.score, plan.by_due_date
    return [
        (words.VISITS, texts.against(mine.visits, plain.visits)),
        (texts.LATE, texts.against(mine.missed, plain.missed)),
        (texts.UNPLANNED, texts.against(mine.unplanned, plain.unplanned)),
        (texts.TRIPS, texts.against(mine.trips, plain.trips)),
        (texts.BEST, texts.BEST_FOUND if plan.optimal else texts.gap(plan.gap)),
    ]  # fmt: skip


def draw_setting(site: Site, visits: Sequence[Visit], person: Person) -> None:
    """Lock, move, cancel or finish one of the visits shown."""
    choices = [state for state in STATES if person.role in may_visit(state)]
    visits = [one for one in visits if person.is_offered(VISIT, one.ward)]
    if not visits or not choices:
        return
    by_name = {f"{texts.day_of(one.day)}, {one.unit}": one for one in visits}
    with st.expander(texts.SET_VISIT), st.form("visit", border=False):
        one, two, three = st.columns(3)
        one.selectbox(texts.VISIT, list(by_name), key="visit-which")
        two.selectbox(words.WHAT, choices, format_func=texts.SET_STATES.__getitem__, key="visit-state")
        three.date_input(texts.NEW_DAY, visits[0].day, key="visit-day", format="YYYY-MM-DD")
        st.text_input(words.WHY, key="visit-why", max_chars=TEXT_MAX)
        st.form_submit_button(words.RECORD, on_click=_set, args=(site, by_name, person))


def _set(site: Site, by_name: dict[str, Visit], person: Person) -> None:
    state = st.session_state
    visit, said, why = by_name[state["visit-which"]], state["visit-state"], state["visit-why"]
    day = state["visit-day"] if said == "moved" else visit.day
    tasks = [(visit.unit, task.task) for task in visit.tasks]

    def make(now_ms: int) -> JournalEntry:
        return set_visit(site, visit.visit, day.isoformat(), tasks, said, person, now_ms, why)

    act(make, f"{state['visit-which']}: {texts.VISIT_STATES[said]}")
