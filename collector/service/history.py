"""The history of a unit: what was done to it, by whom and when, in sentences; from the journal."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.service.tasks import task_of
from collector.site import Site

_OUTCOMES: Final = {
    entries.DONE: "done", entries.COULD_NOT_LOCATE: "the unit could not be found", entries.PUT_OFF: "put off",
}  # fmt: skip


class Happening(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was done to a unit; seq is its journal row, work the order that it belongs to ("" for none)."""

    seq: int
    at_ms: int
    kind: str
    who: str
    role: str
    work: str
    said: str


def unit_history(site: Site, rows: Iterable[JournalRow], unit: str) -> list[Happening]:
    """What people did to a unit, newest first; rows in the order of `seq`."""
    found = [
        Happening(seq=row.seq, at_ms=row.at_ms, kind=row.kind, who=row.who, role=row.role,
                  work=str(row.body.get("work") or ""), said=_SAID[row.kind](site, row))
        for row in rows if row.unit == unit and row.kind in _SAID
    ]  # fmt: skip
    return found[::-1]


def _taken_out(_site: Site, row: JournalRow) -> str:
    return f"taken out of service: {_text(row.body, 'reason')}"


def _put_back(_site: Site, row: JournalRow) -> str:
    if row.body.get("override"):
        missing = _text(row.body, "missing")
        return f"returned to service though {missing or 'something was missing'}: {_text(row.body, 'reason')}"
    return f"returned to service: {_text(row.body, 'reason')}"


def _task(site: Site, row: JournalRow) -> str:
    name = _text(row.body, "task")
    task = task_of(site, row.unit, name) if site.unit(row.unit) else None
    outcome = _OUTCOMES.get(_text(row.body, "outcome"), "outcome not known")
    return _with_note(f"{task.title if task else name}: {outcome}{_parts(row.body)}", _text(row.body, "note"))


def _opened(_site: Site, row: JournalRow) -> str:
    return f"work order {_text(row.body, 'work')} opened: {_text(row.body, 'why')}"


def _closed(_site: Site, row: JournalRow) -> str:
    body = row.body
    found, cause, action = (_text(body, name) for name in ("fault_found", "cause", "action"))
    return f"work order {_text(body, 'work')} closed: {found} ({cause}); {action}{_parts(body)}"


def _proven(_site: Site, row: JournalRow) -> str:
    body = row.body
    found = "" if body.get("as_found_pct") is None else f"as found {body['as_found_pct']:g} %, "
    passed = "passed" if body.get("result") == entries.PASS else "failed"
    return (
        f"check {passed}: {found}as left {body['as_left_pct']:g} % (uncertainty {body['uncertainty_pct']:g}) at "
        f"{body['flow_lpm']:g} L/min by {body['analyser']}"
    )


def _text(body: dict[str, Any], name: str) -> str:
    return str(body.get(name) or "")


def _parts(body: dict[str, Any]) -> str:
    parts = body.get("parts") or {}
    return f"; {', '.join(f'{n:g} {name}' for name, n in parts.items())}" if parts else ""


def _with_note(text: str, note: str) -> str:
    return f"{text}; {note}" if note else text


_SAID: Final[dict[str, Callable[[Site, JournalRow], str]]] = {
    entries.OUT_OF_SERVICE: _taken_out, entries.RETURN_TO_SERVICE: _put_back, entries.TASK_DONE: _task,
    entries.WORK_OPENED: _opened, entries.WORK_CLOSED: _closed, entries.PURITY_PROOF: _proven,
}  # fmt: skip
#: Kinds of rows that a history is made of.
KINDS: Final = tuple(_SAID)
