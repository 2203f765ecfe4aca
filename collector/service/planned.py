"""Planned maintenance of a month: what fell due, and what of it was done on time.

Each time a task falls due counts once. It is judged as it was known then: the record is folded row by row, and what is
due is asked just before each thing that was done, and at the month's end. On time is up to `grace` after the due date.
What is not done at the month's end counts once its grace is over; before that it is the next month's. Units in store do
not count, nor what was done long before it was due.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY
from collector.service.due import DueTask, unit_dues
from collector.service.month import Month
from collector.service.record import Record
from collector.service.report_lines import LATE, ON_TIME, OPEN, TaskLine
from collector.service.tasks import task_of
from collector.site import Site, Unit

#: On time is up to a tenth of the interval after the due date, a day at least; a week where a task goes by hours or by
#: condition. Common practice, no source.
GRACE_SHARE: Final = 0.1
LEAST_GRACE_DAYS: Final = 1.0
GRACE_DAYS: Final = 7.0


def planned_lines(site: Site, month: Month, rows: Iterable[JournalRow], units: Iterable[Unit]) -> list[TaskLine]:
    """A line for each time a task fell due; rows in the order of `seq` from the start of the record to month's end."""
    counted = {unit.id: unit for unit in units if unit.in_service is not False}
    record = Record()
    lines: list[TaskLine] = []
    for row in rows:
        if row.at_ms >= month.until_ms:
            continue
        unit = counted.get(row.unit)
        if unit is not None and row.at_ms >= month.from_ms and _does(row):
            lines += _done_lines(site, month, unit, record, row)
        record.fold(row, site)
    for unit in counted.values():
        for due in unit_dues(site, unit, record, None, month.until_ms):
            if due.due_ms.p50 + grace_ms(site, due) < month.until_ms:
                lines.append(_line(site, month, due, None))
    return sorted(lines, key=lambda line: (line.due, line.unit, line.task))


def grace_ms(site: Site, due: DueTask) -> int:
    """How long after its due date a task still counts as done on time."""
    task = task_of(site, due.unit, due.task)
    if due.why == "calendar" and task is not None and task.every_days:
        return round(max(LEAST_GRACE_DAYS, GRACE_SHARE * task.every_days) * DAY)
    return round(GRACE_DAYS * DAY)


def _does(row: JournalRow) -> bool:
    if row.kind == entries.PURITY_PROOF:
        return bool(row.body.get("result") == entries.PASS)
    return row.kind == entries.TASK_DONE and row.body.get("outcome") == entries.DONE


def _done_lines(site: Site, month: Month, unit: Unit, record: Record, row: JournalRow) -> Iterator[TaskLine]:
    task = str(row.body.get("task")) if row.kind == entries.TASK_DONE else None
    for due in unit_dues(site, unit, record, None, row.at_ms):
        if (due.task == task or (task is None and due.proof)) and due.due_ms.p50 < month.until_ms:
            yield _line(site, month, due, row.at_ms)


def _line(site: Site, month: Month, due: DueTask, done_ms: int | None) -> TaskLine:
    if done_ms is not None:
        outcome = ON_TIME if done_ms <= due.due_ms.p50 + grace_ms(site, due) else LATE
    elif due.could_not_locate:
        outcome = entries.COULD_NOT_LOCATE
    else:
        outcome = entries.PUT_OFF if due.put_off else OPEN
    why = {"hours": "by hours", "calendar": "", "idle": "stood idle"}.get(due.why, due.sign)
    return TaskLine(
        unit=due.unit, ward=due.ward, task=due.task, title=due.title, due=_day(month, due.due_ms.p50),
        done="" if done_ms is None else _day(month, done_ms), outcome=outcome, note=why, by=due.by,
    )  # fmt: skip


def _day(month: Month, at_ms: int) -> str:
    return month.day_of(at_ms).isoformat()
