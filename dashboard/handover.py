"""The note for the next shift, made from the journal and from what is known now; pure.

Rules of this file: what stands comes before what was. Every line names its unit and its time, so that it can be read
out. Nothing is judged here: alarms are as the collector stored them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Final, NamedTuple

from collector.people.acts import ORIGIN
from collector.rules import entries
from collector.rules.alarms import Alarm, urgency
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.lifecycle import State
from collector.service.due import DueTask
from collector.service.history import KINDS as DONE_KINDS
from collector.service.history import unit_history
from collector.terms import action_of, task_of, title_of
from dashboard import handover_words as words
from dashboard import service_words
from dashboard import words as common_words
from dashboard.actions import Person, named
from dashboard.changeover import ward_line
from dashboard.episodes import Episode, episodes
from dashboard.freshness import Banner
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.times import DAY, age_text, moment_text

#: Kinds of rows that a note is made of.
KINDS: Final = (entries.CONDITION, entries.ACKNOWLEDGE, entries.NOTE, entries.CYLINDER_READ, *DONE_KINDS)
ABOUT: Final = "handover"
MOST: Final = 40
#: What is due within so long is the next shifts' to know.
DUE_MS: Final = 2 * DAY
OWN_MAX: Final = 1_000
_NOTE_MAX: Final = 6_000


class Section(NamedTuple):
    """A heading and its lines."""

    title: str
    lines: tuple[str, ...]


class Note(NamedTuple):
    """The note; texts are plain and still to be escaped."""

    title: str
    sections: tuple[Section, ...]


def note_of(
    now: Now, now_ms: int, ward: str, from_ms: int, rows: Sequence[JournalRow], dues: Iterable[DueTask],
    banners: Sequence[Banner],
) -> Note:  # fmt: skip
    """The note of a ward ("" for all) over from_ms to now_ms; rows in any order."""
    alarms = sorted((alarm for alarm in now.alarms if ward in ("", alarm.ward)), key=urgency)
    mine = [row for row in rows if ward in ("", row.ward)]
    hospital = now.site.facility.name or now.site.facility.id if now.site else now.facility
    place = ward_title(now, ward) if ward else service_words.ALL_WARDS
    first, last = moment_text(from_ms, now_ms, now.zone), moment_text(now_ms, now_ms, now.zone)
    found = (
        (words.STANDS, [_alarm(alarm, now, now_ms) for alarm in alarms if alarm.speaks]),
        (words.ASIDE, [*(_aside(alarm, now, now_ms) for alarm in alarms if alarm.held and alarm.active),
                       *_out(now, ward)]),
        (words.HAPPENED, [_episode(one, now, now_ms) for one in episodes(mine)]),
        (words.DONE, _done(now, now_ms, mine)),
        (words.DUE, [_due(due, now, now_ms) for due in dues if ward in ("", due.ward)
                     if due.overdue or due.due_ms.p50 < now_ms + DUE_MS]),
        (words.BACKUP, _backup(now, now_ms, ward)),
        (words.WATCH, [banner.text for banner in banners] or [words.LIVE]),
    )  # fmt: skip
    return Note(words.title(hospital, place, first, last), tuple(Section(name, _cut(lines)) for name, lines in found))


def _cut(lines: Sequence[str]) -> tuple[str, ...]:
    more = [words.more(len(lines) - MOST)] if len(lines) > MOST else []
    return (*lines[:MOST], *more)


def _where(unit: str, ward: str, now: Now) -> str:
    return f"{unit or words.WHOLE_WARD}, {ward_title(now, ward)}"


def _alarm(alarm: Alarm, now: Now, now_ms: int) -> str:
    known = alarm.acked_by and alarm.state != State.UNACKNOWLEDGED
    who = words.acknowledged(alarm.acked_by) if known else words.NOT_ACKNOWLEDGED
    since = words.since(moment_text(alarm.raised_ms, now_ms, now.zone))
    head = (
        f"{common_words.PRIORITY[alarm.priority]}: {title_of(alarm.condition)}, {_where(alarm.unit, alarm.ward, now)}"
    )
    return f"{head}, {since}; {who}. {action_of(alarm.action, alarm.condition, alarm.evidence)}".rstrip()


def _aside(alarm: Alarm, now: Now, now_ms: int) -> str:
    until = words.until(moment_text(alarm.shelved_until_ms, now_ms, now.zone)) if alarm.shelved_until_ms else ""
    parts = (title_of(alarm.condition), _where(alarm.unit, alarm.ward, now), until or common_words.NOT_USED.lower())
    return ", ".join(part for part in parts if part)


def _out(now: Now, ward: str) -> list[str]:
    if now.site is None:
        return sorted(now.out_of_service)
    return [
        f"{_where(unit.id, now.site.ward_of(unit.id).id, now)}: {common_words.NOT_USED.lower()}"
        for unit in now.site.units
        if unit.id in now.out_of_service and ward in ("", now.site.ward_of(unit.id).id)
    ]  # fmt: skip


def _episode(one: Episode, now: Now, now_ms: int) -> str:
    first = moment_text(one.raised_ms, now_ms, now.zone)
    last = moment_text(one.cleared_ms, now_ms, now.zone)
    when = words.stands_since(first) if one.cleared_ms is None else words.lasted(first, last)
    who = f"; {words.acknowledged(one.acknowledged)}" if one.acknowledged else ""
    return f"{when}: {title_of(one.condition)}, {_where(one.unit, one.ward, now)}{who}"


def _done(now: Now, now_ms: int, rows: Sequence[JournalRow]) -> list[str]:
    """Notes and what was done to units, in the order in which it happened."""
    found = [(row.at_ms, row.unit, str(row.body.get("text", "")), row.who) for row in rows
             if row.kind == entries.NOTE and row.who and row.body.get("text")]  # fmt: skip
    found += [(row.at_ms, str(row.body.get("cylinder", "")), str(row.body.get("entered", "")), row.who) for row in rows
              if row.kind == entries.CYLINDER_READ]  # fmt: skip
    if now.site is not None:
        ordered = sorted(rows, key=lambda row: row.seq)
        for unit in sorted({row.unit for row in rows if row.kind in DONE_KINDS and row.unit}):
            found += [(one.at_ms, unit, one.said, one.who) for one in unit_history(now.site, ordered, unit)]
    return [f"{moment_text(at_ms, now_ms, now.zone)} {what + ': ' if what else ''}{said} ({who})"
            for at_ms, what, said, who in sorted(found)]  # fmt: skip


def _due(due: DueTask, now: Now, now_ms: int) -> str:
    when = words.overdue(age_text(now_ms - due.due_ms.p50)) if due.overdue else \
        moment_text(due.due_ms.p50, now_ms, now.zone)  # fmt: skip
    return f"{_where(due.unit, due.ward, now)}: {task_of(due.title)}, {when}"


def _backup(now: Now, now_ms: int, ward: str) -> list[str]:
    if now.site is None:
        return []
    said = ((place.title, ward_line(now, place.id, now_ms)) for place in now.site.places() if ward in ("", place.id))
    return [f"{title}: {line}" for title, line in said if line]


def note_text(note: Note, own: str = "") -> str:
    """The note as plain text, with what somebody added."""
    parts = [note.title]
    for section in note.sections:
        parts += ["", section.title.upper(), *(f"- {line}" for line in section.lines or (words.NOTHING,))]
    return "\n".join([*parts, *(["", words.OWN.upper(), own.strip()] if own.strip() else [])])


def note_html(note: Note, own: str = "") -> str:
    """The note as a page to read and to print."""
    sections = [*note.sections, *([Section(words.OWN, tuple(own.strip().splitlines()))] if own.strip() else [])]
    made = "".join(f"<h3>{escape(one.title)}</h3><ul>{_items(one.lines)}</ul>" for one in sections)
    return f'<article class="sw-note-page"><h2>{escape(note.title)}</h2>{made}<p>{escape(words.HOW)}</p></article>'


def _items(lines: Sequence[str]) -> str:
    return "".join(f"<li>{escape(line)}</li>" for line in lines or (words.NOTHING,))


def handed_over(note: Note, own: str, ward: str, from_ms: int, person: Person, now_ms: int) -> JournalEntry:
    """The entry of a note that was handed over: what was added by hand, and the note as it was; Refused nameless."""
    who = named(person)
    body = {"about": ABOUT, "text": own.strip()[:OWN_MAX] or note.title, "note": note_text(note)[:_NOTE_MAX],
            "from_ms": from_ms, "to_ms": now_ms}  # fmt: skip
    return JournalEntry(at_ms=now_ms, kind=entries.NOTE, ward=ward, who=who.name, role=who.role, origin=ORIGIN,
                        body=body)  # fmt: skip


def earlier(rows: Iterable[JournalRow], ward: str) -> list[JournalRow]:
    """Notes that were handed over, the newest first."""
    found = (row for row in rows if row.kind == entries.NOTE and row.body.get("about") == ABOUT)
    return sorted((row for row in found if ward in ("", row.ward)), key=lambda row: -row.seq)
