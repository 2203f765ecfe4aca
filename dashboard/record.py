"""Recording a task on a unit's page: made for a phone in one hand, in as few taps as the record allows.

Rules of this file: what is offered is what the person's role may say; parts, minutes and hour meter are proposed and
can be corrected; nothing is written without a tap of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import streamlit as st

from collector.people.rights import may_task
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.service.due import DueTask
from collector.service.tasks import tasks_of
from collector.site import Site, Task
from collector.store import StoreError
from collector.terms import task_of
from dashboard import access_words
from dashboard import service_words as words
from dashboard.actions import SERVICE_ROLES, TEXT_MAX, Person
from dashboard.checks import draw_check
from dashboard.crew import who_records
from dashboard.desk import write_down
from dashboard.frame import dues, look
from dashboard.queries import Now
from dashboard.service_actions import MINUTES_MOST, PIECES_MOST, Done, do_task


def draw_recording(now: Now, unit: str, person: Person | None) -> None:
    """Who (None: to be asked here), which task, done; or otherwise, in a form."""
    if now.site is None:
        return
    with st.expander(words.RECORD_TASK, key="record"):
        person = person or who_records(now)
        known = now.site.unit(unit) is not None
        if known and not person.is_offered(entries.TASK_DONE, now.site.ward_of(unit).id):
            st.write(access_words.NOT_OFFERED)
            return
        tasks = offered(now.site, unit, person)
        if not tasks:
            st.write(words.NO_TASK_FOR_ROLE)
            return
        overdue, tasks = soonest_first(tasks, _dues(now, unit))
        slot = st.container()  # above the list: on a phone it would be below the edge of the screen
        titles = {task.id: words.due_task(task_of(task.title), task.id in overdue) for task in tasks}
        chosen = st.pills(words.TASK, list(titles), format_func=titles.__getitem__, key=f"task-{unit}")
        task = next((task for task in tasks if task.id == chosen), None)
        if task is not None:
            with slot:
                _draw_task(now, now.site, unit, task, person)


def offered(site: Site, unit: str, person: Person) -> Sequence[Task]:
    """The tasks of which this role may say something."""
    tasks = tasks_of(site, unit) if site.unit(unit) is not None else ()
    return [task for task in tasks if any(person.role in may_task(task, outcome) for outcome in entries.OUTCOMES)]


def _dues(now: Now, unit: str) -> list[DueTask]:
    """What is due on this unit; nothing when the store cannot say: a task can be written down all the same."""
    try:
        return [due for due in dues(now, look().now_ms) if due.unit == unit]
    except StoreError:
        return []


def soonest_first(tasks: Sequence[Task], found: Sequence[DueTask]) -> tuple[set[str], list[Task]]:
    """Ids of overdue tasks, and the tasks with the soonest due first and those without a day last."""
    order = {due.task: place for place, due in enumerate(found)}
    return {due.task for due in found if due.overdue}, sorted(tasks, key=lambda t: order.get(t.id, len(order)))


def usual(site: Site, task: Task, meter_h: float | None) -> Done:
    """The task done as it usually is: its minutes, one of each of its parts."""
    parts = {part.id if (part := site.part(name)) else name: 1 for name in task.parts}
    return Done(entries.DONE, meter_h, task.minutes, parts)


def _draw_task(now: Now, site: Site, unit: str, task: Task, person: Person) -> None:
    if task.proof and person.role in SERVICE_ROLES:
        draw_check(now, unit, person)
        return
    row = now.units.get(unit)
    done = usual(site, task, row.hours_h if row else None)
    st.caption(words.usual_text(_named(site, done.parts), done.minutes, done.meter_h))
    if person.role in may_task(task, entries.DONE) and not task.proof:
        st.button(words.TASK_DONE, key=f"done-{unit}-{task.id}", type="primary", width="stretch",
                  on_click=_write, args=(site, unit, task, person, done))  # fmt: skip
    with st.popover(words.OTHERWISE, width="stretch"):
        _draw_form(site, unit, task, person, done)


def _named(site: Site, parts: Mapping[str, int]) -> list[str]:
    return [f"{n} × {part.title if (part := site.part(name)) else name}" for name, n in parts.items()]


def _draw_form(site: Site, unit: str, task: Task, person: Person, done: Done) -> None:
    key = f"{unit}-{task.id}"
    outcomes = [one for one in entries.OUTCOMES if person.role in may_task(task, one)]
    with st.form(f"form-{key}", border=False):
        st.selectbox(words.OUTCOME, outcomes, format_func=words.OUTCOMES.__getitem__, key=f"outcome-{key}")
        st.number_input(words.MINUTES, 0.0, MINUTES_MOST, done.minutes, 5.0, format="%.0f", key=f"minutes-{key}")
        st.number_input(words.METER, 0.0, 1e6, done.meter_h, 1.0, format="%.1f", key=f"meter-{key}")
        for name, pieces in done.parts.items():
            part = site.part(name)
            st.number_input(words.pieces_of(part.title if part else name), 0, PIECES_MOST, pieces,
                            key=f"part-{key}-{name}")  # fmt: skip
        st.text_input(words.NOTE, key=f"note-{key}", max_chars=TEXT_MAX)
        st.form_submit_button(words.RECORD, on_click=_write_form, args=(site, unit, task, person, done))


def _write_form(site: Site, unit: str, task: Task, person: Person, done: Done) -> None:
    key, state = f"{unit}-{task.id}", st.session_state
    outcome = state[f"outcome-{key}"]
    parts = {name: n for name in done.parts if (n := state.get(f"part-{key}-{name}", 0))}
    parts = parts if outcome == entries.DONE else {}
    said = Done(outcome, state[f"meter-{key}"], state[f"minutes-{key}"], parts, state[f"note-{key}"])
    _write(site, unit, task, person, said)


def _write(site: Site, unit: str, task: Task, person: Person, done: Done) -> None:
    made = partial(_entry, site, unit, task, person, done)
    if write_down(made, f"{unit}: {task_of(task.title)}: {words.OUTCOMES[done.outcome]}, written down"):
        st.session_state[f"task-{unit}"] = None  # a second tap would write it twice


def _entry(site: Site, unit: str, task: Task, person: Person, done: Done, now_ms: int) -> JournalEntry:
    return do_task(site, unit, task, person, now_ms, done)
