"""Tells what is due: `service-due` and `verification-due`, judged from the journal alone.

Rules of this file: every unit is judged once a day, as of midnight UTC (the moment of its event), a quarter of an hour
later so that the day's hours have been written down; days in which no collector ran are not made up for. A row of
somebody's work is judged at once, as of its own moment: so an alarm ends when the work is written down. What is told
and what is not yet is a fold over the journal's own events, so restarts tell nothing twice. Replay and the past taken
in (past.py) tell nothing of this: recordings do not hold what people wrote down.

A task that was told stays told until it is done, or until it is due more than three days later, so that an estimate
that moves a little never makes an alarm come and go. The ward's own tasks are listed, never told: they are a round, not
a message. A condition that has an alarm of its own is not told a second time as a task.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator
from typing import Any, Final

import msgspec

from collector.reading import iso_utc
from collector.rules.catalogue import CATALOGUE, CAUSES, action_text
from collector.rules.entries import JournalEntry, JournalRow, entry_of
from collector.rules.events import CLEARED, RAISED, UPDATED, Event, Evidence
from collector.rules.limits import DAY, MINUTE
from collector.service.due import DueTask, unit_dues
from collector.service.record import DUE, VERIFICATION_DUE, Record
from collector.service.tasks import tasks_of
from collector.site import Site, Unit
from collector.store import Store
from collector.store.history import journal_after, status

STATUS: Final = "dues"
_AFTER_MIDNIGHT_MS: Final = 15 * MINUTE
_STAYS_MS: Final = 3 * DAY
_NEVER: Final = -1
_FORMAT: Final = 1  # of the stored record: one more when its fields mean something else


class Dues:
    """What is due in one facility; `unsaved` once a day, when the record is to be stored."""

    def __init__(self, site: Site, record: Record | None = None, judged_ms: int = _NEVER) -> None:
        self._site = site
        self.record = Record() if record is None else record
        self.judged_ms = judged_ms  # the midnight that was judged last
        self.unsaved = False
        self._changed: dict[str, int] = {}  # units of which somebody wrote something down, and of when

    def fold(self, rows: Iterable[JournalRow]) -> None:
        """Take in journal rows; those it has already are left out."""
        for row in rows:
            if row.seq > self.record.seq and self.record.fold(row, self._site):
                self._changed[row.unit] = max(row.at_ms, self._changed.get(row.unit, 0))

    def news(self, now_ms: int) -> list[JournalEntry]:
        """What is to be told now; to be written before anything else is asked for."""
        day_ms = (now_ms - _AFTER_MIDNIGHT_MS) // DAY * DAY
        units = [unit for unit_id in self._changed if (unit := self._site.unit(unit_id)) is not None]
        if day_ms > self.judged_ms:
            units, self.judged_ms, self.unsaved = list(self._site.units), day_ms, True
        found: list[Event] = []
        for unit in units:
            found += self._judge(unit, min(now_ms, max(self._changed.get(unit.id, 0), self.judged_ms)))
        self._changed.clear()
        return [entry_of(event) for event in found]

    def document(self) -> dict[str, Any]:
        """The record as it is stored."""
        record = msgspec.to_builtins(self.record)
        return {"made_for": _made_for(self._site), "judged_ms": self.judged_ms, "record": record}

    def _judge(self, unit: Unit, at_ms: int) -> Iterator[Event]:
        dues = [due for due in unit_dues(self._site, unit, self.record, None, at_ms, CATALOGUE) if due.by != "ward"]
        told = self.record.units[unit.id].told if unit.id in self.record.units else {}
        for condition in DUE:
            before = told.get(condition, {})
            now = {due.task: due for due in dues if due.proof == (condition == VERIFICATION_DUE)
                   and _is_told(due, before.get(due.task), at_ms)}  # fmt: skip
            if set(now) != set(before):
                event = CLEARED if not now else UPDATED if before else RAISED
                yield self._event(unit, condition, event, list(now.values()), at_ms)

    def _event(self, unit: Unit, condition: str, event: str, dues: list[DueTask], at_ms: int) -> Event:
        told, evidence, cause = CATALOGUE[condition], Evidence(), "unknown"
        if dues:
            first = min(dues, key=lambda due: due.due_ms.p50)
            cause = next((due.sign for due in dues if due.sign in CAUSES), cause)
            evidence = {"tasks": [due.task for due in dues], "first": first.title, "why": first.sign or first.why,
                        "due": iso_utc(first.due_ms.p50)}  # fmt: skip
        return Event(
            time_ms=at_ms, unit=unit.id, ward=self._site.ward_of(unit.id).id, event=event, condition=condition,
            priority=told.priority, audience=told.audience, cause=cause, evidence=evidence,
            action=action_text(told.action, evidence),
        )  # fmt: skip


def _is_told(due: DueTask, told_ms: int | None, at_ms: int) -> bool:
    if due.due_ms.p50 <= at_ms:
        return True
    return told_ms is not None and due.due_ms.p50 <= at_ms + _STAYS_MS and (due.last_done_ms or 0) < told_ms


def load_dues(site: Site, store: Store, seq: int) -> Dues:
    """As stored, brought up to this journal row; made anew from the whole journal where that cannot be used."""
    dues = _stored(site, store.status(STATUS))
    while dues.record.seq < seq and (rows := store.journal_after(dues.record.seq)):
        dues.fold(row for row in rows if row.seq <= seq)
    return dues


def record_now(conn: sqlite3.Connection, site: Site) -> Record:
    """The record as of now, for those who only read; a day's rows are all that is read of a journal of years."""
    record = _stored(site, status(conn, STATUS)).record
    while rows := journal_after(conn, record.seq):
        for row in rows:
            record.fold(row, site)
    return record


def _stored(site: Site, document: dict[str, Any] | None) -> Dues:
    """As stored; a record that was made for other units or tasks has left out what matters now."""
    if document is None or document.get("made_for") != _made_for(site):
        return Dues(site)
    try:
        return Dues(site, msgspec.convert(document["record"], Record), int(document["judged_ms"]))
    except (KeyError, ValueError):
        return Dues(site)


def _made_for(site: Site) -> str:
    """What of a site file a record depends on."""
    tasks = [(unit.id, [repr(task) for task in tasks_of(site, unit.id)]) for unit in site.units]
    return hashlib.sha256(repr((_FORMAT, sorted(tasks))).encode()).hexdigest()[:16]
