"""What happened to a unit over a span, as marks to be drawn and told: alarms, supply, service, people's notes; pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from collector.rules import entries
from collector.rules.alarms import Alarm
from collector.rules.entries import JournalRow
from collector.terms import title_of
from dashboard import past_words as words
from dashboard.episodes import episodes

SUPPLY: Final = frozenset({"supply-lost", "ward-supply-lost", "supply-poor"})
SERVICE_KINDS: Final = (
    entries.TASK_DONE, entries.PURITY_PROOF, entries.WORK_OPENED, entries.WORK_CLOSED, entries.OUT_OF_SERVICE,
    entries.RETURN_TO_SERVICE,
)  # fmt: skip
#: What people wrote down and what is drawn of it.
KINDS: Final = (*SERVICE_KINDS, entries.NOTE)
BY_SERVICE: Final = "service"
BY_NOTE: Final = "note"
#: Further back, an alarm that began before the span is no longer looked for; one that stands is always drawn.
BEFORE_MS: Final = 7 * 86_400_000


class Mark(NamedTuple):
    """One thing that happened; `kind` is an alarm's priority, "service" or "note"; to_ms None: it lasts."""

    lane: str
    kind: str
    from_ms: int
    to_ms: int | None
    what: str


def lanes() -> tuple[str, ...]:
    """The lanes from the top down, in the reader's language."""
    return words.ALARMS, words.SUPPLY, words.SERVICE, words.NOTES


def marks_of(
    rows: Sequence[JournalRow], standing: Iterable[Alarm], tasks: Mapping[str, str], from_ms: int, to_ms: int
) -> list[Mark]:  # fmt: skip
    """What lies in from_ms <= time < to_ms or reaches into it, newest first; `tasks` are the titles of tasks."""
    found = list(_alarms([row for row in rows if row.kind == entries.CONDITION], from_ms, to_ms))
    known = {(mark.what, mark.from_ms) for mark in found}
    for alarm in standing:
        begun = alarm.raised_ms or from_ms
        title = title_of(alarm.condition)
        if begun < to_ms and (title, begun) not in known:
            found.append(Mark(_lane(alarm.condition), alarm.priority, begun, None, title))
    people = (_by_people(row, tasks) for row in rows if from_ms <= row.at_ms < to_ms)
    found += [mark for mark in people if mark is not None]
    return sorted(found, key=lambda mark: -mark.from_ms)


def _alarms(rows: Sequence[JournalRow], from_ms: int, to_ms: int) -> Iterator[Mark]:
    for one in episodes(rows):
        begun = one.raised_ms if one.raised_ms is not None else from_ms
        over = one.cleared_ms is not None and one.cleared_ms < from_ms
        if begun < to_ms and not over:
            yield Mark(_lane(one.condition), one.priority, begun, one.cleared_ms, title_of(one.condition))


def _lane(condition: str) -> str:
    return words.SUPPLY if condition in SUPPLY else words.ALARMS


def _by_people(row: JournalRow, tasks: Mapping[str, str]) -> Mark | None:
    if row.kind == entries.NOTE:
        said = words.noted(str(row.body.get("text", "")), row.who)
        return Mark(words.NOTES, BY_NOTE, row.at_ms, row.at_ms, said)
    if row.kind not in SERVICE_KINDS:
        return None
    task = str(row.body.get("task", ""))
    said = words.service_said(row.kind, row.body, tasks.get(task, task), row.who)
    return Mark(words.SERVICE, BY_SERVICE, row.at_ms, row.at_ms, said)
