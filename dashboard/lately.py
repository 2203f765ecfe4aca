"""What was done to units in the last minutes, what came of it, and what takes it back; pure.

Rules of this file: everything comes from the journal, so any screen may take back what another one did. Taking back is
a row of its own that names the row it undoes; nothing is erased. It is offered for a stated time, and only while
nothing has happened since that it would run over.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import msgspec

from collector.people.acts import ORIGIN
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.lifecycle import State
from collector.service.gate import standings
from collector.site import Site
from collector.siteedit import asked
from collector.siteedit.keeper import REFUSED
from collector.terms import title_of
from dashboard import place_words as words
from dashboard.actions import Person, Refused, named
from dashboard.placing import ward_title
from dashboard.queries import Now
from dashboard.times import HOUR, MINUTE, moment_text
from dashboard.words import name_of

#: For how long something can be taken back (common practice, no source), by the machine's clock.
UNDO_MS: Final = 5 * MINUTE
#: Rows of so long ago are looked at, by the facility's clock: a change may wait for a collector.
LOOK_BACK_MS: Final = 6 * HOUR
_DEEDS: Final = (entries.SITE_CHANGE, entries.SHELVE, entries.OUT_OF_SERVICE)
#: Rows that are needed to know what was done, and whether anything has happened since.
KINDS: Final = (
    *_DEEDS, entries.SITE_CHANGED, entries.UNSHELVE, entries.RETURN_TO_SERVICE, entries.TASK_DONE,
    entries.WORK_OPENED, entries.WORK_CLOSED, entries.PURITY_PROOF,
)  # fmt: skip

#: Reasons as they stand in the journal.
_OUT_IN_ERROR: Final = "taken back: it was taken out in error"
_SHELVED_IN_ERROR: Final = "taken back: it was put aside in error"

WAITING: Final = "waiting"
DONE: Final = "done"
FAILED: Final = "refused"
UNDONE: Final = "undone"


class Deed(NamedTuple):
    """Something that was done: its row, WAITING, DONE, FAILED (and why) or UNDONE; `back`: it can be taken back."""

    row: JournalRow
    state: str
    said: str = ""
    back: bool = False


def deeds(rows: Sequence[JournalRow], now: Now, wall_ms: int) -> list[Deed]:
    """What was done lately or still waits, newest first; `rows` of KINDS in any order."""
    answers = {int(row.body.get("change", 0)): row for row in rows if row.kind == entries.SITE_CHANGED}
    refused = {seq for seq, row in answers.items() if row.body.get("result") == REFUSED}
    undone = {int(row.body["undoes"]) for row in rows if row.body.get("undoes") and row.seq not in refused}
    found = []
    for row in sorted((one for one in rows if one.kind in _DEEDS), key=lambda one: -one.seq):
        answer = answers.get(row.seq)
        waits = row.kind == entries.SITE_CHANGE and answer is None
        if not waits and not 0 <= wall_ms - (answer or row).recorded_ms <= UNDO_MS:
            continue
        if row.seq in undone:
            found.append(Deed(row, UNDONE))
        elif row.seq in refused:
            found.append(Deed(row, FAILED, str(answer.body.get("said", "")) if answer else ""))
        else:
            found.append(Deed(row, WAITING if waits else DONE, back=not waits and _is_safe(row, rows, now)))
    return found


def _is_safe(row: JournalRow, rows: Sequence[JournalRow], now: Now) -> bool:
    """Whether nothing has happened since that taking it back would run over."""
    if row.kind == entries.SITE_CHANGE:
        return not row.body.get("undoes") and _still_so(row, now)
    if row.kind == entries.SHELVE:
        key = (row.unit, row.ward, row.condition)
        held = [one for one in now.alarms if (one.unit, one.ward, one.condition) == key]
        return any(one.state == State.SHELVED and one.shelved_until_ms == row.body.get("until_ms") for one in held)
    ordered = sorted(rows, key=lambda one: one.seq)
    standing = standings(now.site, [one for one in ordered if one.unit == row.unit]).get(row.unit)
    return row.unit in now.out_of_service and standing is not None and standing.out_seq == row.seq


def _still_so(row: JournalRow, now: Now) -> bool:
    body, site = row.body, now.site
    if site is None or asked.undoing(body, row.seq) is None:
        return False
    if body["do"] == asked.ADD:
        known, heard = site.unit(str(body["fields"]["id"])), now.units.get(str(body["fields"]["id"]))
        return known is not None and (heard is None or heard.last_ms is None)
    now_in = {unit: known.ward for unit in asked.moves_of(body) if (known := site.unit(unit)) is not None}
    return now_in == asked.moves_of(body)


def undo(deed: Deed, person: Person, now_ms: int) -> JournalEntry:
    """The entry that takes it back; Refused where that is not safe any more, or nobody says who they are."""
    row, who = deed.row, named(person)
    if not deed.back:
        raise Refused(words.TOO_LATE)
    kind, body = row.kind, asked.undoing(row.body, row.seq) or {}
    if kind == entries.SHELVE:
        kind, body = entries.UNSHELVE, {"why": _SHELVED_IN_ERROR, "undoes": row.seq, "event_seq": row.body["event_seq"]}
    elif kind == entries.OUT_OF_SERVICE:
        kind, body = entries.RETURN_TO_SERVICE, {"reason": _OUT_IN_ERROR, "undoes": row.seq}
    return msgspec.convert(
        {"at_ms": now_ms, "kind": kind, "unit": row.unit, "ward": row.ward, "condition": row.condition,
         "who": who.name, "role": who.role, "origin": ORIGIN, "body": body}, JournalEntry)  # fmt: skip


def is_about(row: JournalRow, unit: str) -> bool:
    """Whether a row is about this unit, or the other one of a swap, or the one that was added."""
    fields = row.body.get("fields") or {}
    return unit in (row.unit, row.body.get("with"), fields.get("id") if isinstance(fields, dict) else None)


def is_unit_list(row: JournalRow) -> bool:
    """Whether a row asks for a unit more, or for one less."""
    return row.body.get("do") == asked.REMOVE or (row.body.get("do"), row.body.get("table")) == (asked.ADD, "unit")


def in_ward(row: JournalRow, ward: str | None) -> bool:
    """Whether a row is of this ward, or of a unit that came from it or went there; None: of any."""
    return ward is None or ward in (row.ward, row.body.get("from"), row.body.get("to"))


def what_text(row: JournalRow, now: Now, now_ms: int) -> str:
    """What was done or asked for, and by whom."""
    when = moment_text(row.at_ms, now_ms, now.zone)
    return words.by(_what(row, now, now_ms), f"{row.who} ({name_of(row.role)})", when, row.seq)


def _what(row: JournalRow, now: Now, now_ms: int) -> str:
    body = row.body
    match row.kind, body.get("do"):
        case entries.SHELVE, _:
            until = moment_text(body.get("until_ms"), now_ms, now.zone)
            return words.put_aside(title_of(row.condition), row.unit or row.ward, until)
        case entries.OUT_OF_SERVICE, _:
            return words.taken_out(row.unit)
        case _, asked.ADD:
            return words.adds(str(body["fields"].get("id") or body["table"]))
        case _, asked.REMOVE:
            return words.removes(row.unit)
        case _, (asked.MOVE | asked.SWAP):
            return _placed(row, now.site)
    return str(body.get("do", ""))


def _placed(row: JournalRow, site: Site | None) -> str:
    body = row.body
    before, after = (ward_title(site, str(body[key])) if site else str(body[key]) for key in ("from", "to"))
    if body["do"] == asked.MOVE:
        return words.moves(str(body["unit"]), before, after)
    return words.swaps(str(body["unit"]), after, str(body["with"]), before)


def state_text(deed: Deed, *, lives: bool) -> str:
    """What came of it."""
    match deed.state:
        case "waiting":
            return words.WAITS if lives else words.WAITS_LONG
        case "refused":
            return words.refused(deed.said)
        case "undone":
            return words.UNDONE
    return words.MADE
