"""Visits that people have set: locked, moved, cancelled or done, as a fold over the journal."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

import msgspec

from collector.rules.entries import VISIT, JournalRow


class Agreed(msgspec.Struct, frozen=True, kw_only=True):
    """A visit as somebody last set it; tasks are (unit, task)."""

    visit: str
    day: date
    tasks: tuple[tuple[str, str], ...]
    state: str
    why: str = ""
    who: str = ""

    @property
    def stands(self) -> bool:
        """Whether its day is kept, whatever the plan would rather have."""
        return self.state in ("locked", "moved")


def agreed_visits(rows: Iterable[JournalRow]) -> tuple[Agreed, ...]:
    """The last word on each visit, by visit; rows that cannot be read are left out."""
    found: dict[str, Agreed] = {}
    for row in sorted((row for row in rows if row.kind == VISIT), key=lambda row: row.seq):
        if (one := _agreed(row)) is not None:
            found[one.visit] = one
    return tuple(found[visit] for visit in sorted(found))


def _agreed(row: JournalRow) -> Agreed | None:
    body = row.body
    try:
        day = date.fromisoformat(str(body["day"]))
        tasks = tuple(_task(row, task) for task in body.get("tasks", ()))
    except (KeyError, TypeError, ValueError):
        return None
    return Agreed(visit=str(body.get("visit", "")), day=day, tasks=tasks, state=str(body.get("state", "")),
                  why=str(body.get("why", "")), who=row.who)  # fmt: skip


def _task(row: JournalRow, task: Any) -> tuple[str, str]:  # noqa: ANN401 - whatever a journal row holds
    if isinstance(task, str):
        return row.unit, task
    return str(task["unit"]), str(task["task"])
