"""What is due as rows and as a month; pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from zoneinfo import ZoneInfo

from collector.rules.catalogue import CATALOGUE
from collector.service.due import DueTask
from collector.terms import task_of, title_of
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.month import Entry
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import DAY, age_text, local, moment_text


def chosen_dues(dues: Iterable[DueTask], ward: str, by: str) -> list[DueTask]:
    """Of one ward ("" for all), and whose work it is ("" for everybody's)."""
    return [due for due in dues if ward in ("", due.ward) and by in ("", due.by)]


def grouped(dues: Sequence[DueTask], now_ms: int) -> dict[str, list[DueTask]]:
    """Overdue, within a week, within four weeks, and later; each the soonest first."""
    ends = {words.THIS_WEEK: now_ms + 7 * DAY, words.FOUR_WEEKS: now_ms + 28 * DAY, words.LATER: 2**62}
    found: dict[str, list[DueTask]] = {words.OVERDUE: [], **{name: [] for name in ends}}
    for due in dues:
        name = next(name for name, end in ends.items() if due.due_ms.p50 < end)
        found[words.OVERDUE if due.overdue else name].append(due)
    return found


def due_rows(dues: Iterable[DueTask], now: Now, now_ms: int) -> list[Row]:
    """One row a task: unit, what, when, why, when it was last done."""
    return [
        (Cell(due.unit, due.unit), task_of(due.title), when_cell(due, now, now_ms), ward_title(now, due.ward),
         why_text(due),
         moment_text(due.last_done_ms, now_ms, now.zone) if due.last_done_ms else words.NEVER_DONE, missed_text(due))
        for due in dues
    ]  # fmt: skip


def when_cell(due: DueTask, now: Now, now_ms: int) -> Cell:
    """The day, and its range where it is a forecast; how late it is where it is late."""
    if due.overdue:
        return Cell(words.late_by(age_text(now_ms - due.due_ms.p50)), mark="late")
    middle = day(due.due_ms.p50, now.zone, now_ms)
    first, last = day(due.due_ms.p05, now.zone, now_ms), due.due_ms.p95
    if last is not None and first == day(last, now.zone, now_ms):
        return Cell(middle)
    return Cell(middle, note=words.range_of(first, day(last, now.zone, now_ms) if last is not None else ""))


def day(ms: int, zone: ZoneInfo, now_ms: int) -> str:
    """A day, with the year when that differs."""
    moment, now = local(ms, zone), local(now_ms, zone)
    return f"{moment.day} {moment:%b}{'' if moment.year == now.year else f' {moment.year}'}"


def why_text(due: DueTask) -> str:
    """What makes it due, in words."""
    if due.why != "condition":
        return words.WHY_DUE[due.why]
    return common_words.CAUSE_TITLES.get(due.sign) or (title_of(due.sign) if due.sign in CATALOGUE else due.sign)


def missed_text(due: DueTask) -> str:
    """How often it came to nothing since it was last done."""
    parts = [words.times(due.could_not_locate, words.OUTCOMES["could-not-locate"]),
             words.times(due.put_off, words.OUTCOMES["put-off"])]  # fmt: skip
    return ", ".join(text for text in parts if text)


def month_entries(dues: Iterable[DueTask], now: Now, now_ms: int) -> dict[date, list[Entry]]:
    """Each day's tasks by their median; what is overdue stands in today."""
    found: dict[date, list[Entry]] = {}
    for due in dues:
        on = local(now_ms if due.overdue else due.due_ms.p50, now.zone).date()
        found.setdefault(on, []).append(Entry(f"{due.unit}: {task_of(due.title)}", due.unit, due.overdue))
    return found
