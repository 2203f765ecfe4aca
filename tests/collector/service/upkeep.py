"""Journal rows of units' upkeep, made for tests."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import count
from typing import Any

from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.limits import DAY
from collector.site import Site, parse_site

START_MS = 20_000 * DAY  # a midnight


def site_of(tasks: str, unit: str = "") -> Site:
    """A site with one unit, u1, of a model with these tasks."""
    return parse_site(
        '[facility]\nid = "lake"\n[[ward]]\nid = "newborn"\n[[model]]\nid = "five"\n'
        f'{tasks}\n[[unit]]\nid = "u1"\nmodel = "five"\nward = "newborn"\n{unit}\n'
    )


def task(text: str, task_id: str = "filter") -> str:
    """A [[model.task]] with these keys."""
    return f'[[model.task]]\nid = "{task_id}"\n{text}\n'


class Journal:
    """Rows in the order they are written; `day` and fractions of it count from START_MS."""

    def __init__(self) -> None:
        self.rows: list[JournalRow] = []
        self._seq = count(1)

    def add(self, day: float, kind: str, condition: str = "", unit: str = "u1", **body: Any) -> Journal:
        """One row."""
        at_ms = START_MS + round(day * DAY)
        return self.write([JournalEntry(at_ms=at_ms, kind=kind, unit=unit, condition=condition, body=body)])

    def write(self, news: Iterable[JournalEntry]) -> Journal:
        """Entries as the store would number them."""
        for entry in news:
            fields = {name: getattr(entry, name) for name in JournalEntry.__struct_fields__}
            self.rows.append(JournalRow(**fields, seq=next(self._seq), recorded_ms=entry.at_ms))
        return self

    def hours(self, a_day: Iterable[float], first_day: int = 0, meter_h: float | None = None) -> Journal:
        """Daily rows of a unit that runs so many hours on each day; the first row stands for the days before."""
        total = 0.0
        for day, ran in enumerate([0.0, *a_day], first_day):
            total += ran
            meter = None if meter_h is None else meter_h + total
            self.add(day, entries.SERVICE_HOURS, observed_h=total, inferred_h=0.0, unknown_h=0.0, meter_h=meter)
        return self

    def done(self, day: float, task_id: str = "filter", outcome: str = entries.DONE, **body: Any) -> Journal:
        """Somebody did a task, or did not."""
        return self.add(day, entries.TASK_DONE, task=task_id, outcome=outcome, **body)

    def event(self, day: float, condition: str, cause: str = "unknown", event: str = "raised", **body: Any) -> Journal:
        """The rules told something."""
        return self.add(day, entries.CONDITION, condition, event=event, cause=cause, **body)


def days_from(at_ms: float | None) -> float | None:
    """Days from START_MS."""
    return None if at_ms is None else (at_ms - START_MS) / DAY
