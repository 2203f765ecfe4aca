"""Who may do what: one table, and the one question that is asked of it before anything is written.

Rules of this file: pure. A right is looked up for every writing, not only where a button is drawn. An account may be
held to some wards: it sees all of them, since units and cylinders move between wards, and acts in its own only.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.service.tasks import task_of
from collector.site import Site, Task
from collector.siteedit import asked

WARD: Final = "ward"
ENGINEER: Final = "engineer"
PLANNER: Final = "planner"
ADMINISTRATOR: Final = "administrator"
ROLES: Final = (WARD, ENGINEER, PLANNER, ADMINISTRATOR)

_ALL: Final = frozenset(ROLES)
_MAINTENANCE: Final = frozenset({ENGINEER, ADMINISTRATOR})
_PLANNING: Final = frozenset({PLANNER, ADMINISTRATOR})
_ADMINISTRATION: Final = frozenset({ADMINISTRATOR})

#: Actions that are no journal kind of their own.
OVERRIDE: Final = "override"
PEOPLE: Final = "people"
TRY_LIMITS: Final = "try-limits"
#: What is done to the site file: whoever carries a unit says where it is; a new unit is maintenance's; the rest of the
#: hospital is described by administrators.
PLACE_UNITS: Final = "place-units"
ADD_UNITS: Final = "add-units"
DESCRIBE: Final = "describe-site"
#: Who may write which kind of row, and the actions above (common practice, no source). Taking a unit out of service is
#: maintenance's to decide and to record (ISA-18.2, from memory). `may_task` and `may_visit` narrow tasks and visits.
RIGHTS: Final[dict[str, frozenset[str]]] = {
    entries.ACKNOWLEDGE: _ALL,
    entries.SHELVE: _ALL,
    entries.UNSHELVE: _ALL,
    entries.OUT_OF_SERVICE: _MAINTENANCE,
    entries.RETURN_TO_SERVICE: _MAINTENANCE,
    entries.NOTE: _ALL,
    entries.TASK_DONE: _ALL,
    entries.WORK_OPENED: _MAINTENANCE,
    entries.WORK_CLOSED: _MAINTENANCE,
    entries.PURITY_PROOF: _MAINTENANCE,
    entries.CYLINDER_READ: _MAINTENANCE | {WARD},
    entries.PART_MOVED: _PLANNING,
    entries.VISIT: _PLANNING | _MAINTENANCE,
    TRY_LIMITS: _MAINTENANCE,
    entries.SITE_CHANGE: _ALL,
    PLACE_UNITS: _ALL,
    ADD_UNITS: _MAINTENANCE,
    DESCRIBE: _ADMINISTRATION,
    entries.TEST_ALARM: _MAINTENANCE,
    OVERRIDE: _ADMINISTRATION,
    PEOPLE: _ADMINISTRATION,
}


class NotAllowed(Exception):
    """The action is not written down; the text says why, and the way out."""


def may(role: str, action: str) -> bool:
    """Whether a role may do this at all; an action that is not in the table is nobody's."""
    return role in RIGHTS.get(action, frozenset())


def may_task(task: Task | None, outcome: str) -> frozenset[str]:
    """Who may say this of a task: the ward of its own tasks; a planner plans, and does none; None: of one unknown."""
    if outcome == entries.PUT_OFF:
        return _PLANNING | _MAINTENANCE
    own = _MAINTENANCE | {WARD} if task is not None and task.by == "ward" else _MAINTENANCE
    return own | {PLANNER} if outcome == entries.COULD_NOT_LOCATE else own


def may_visit(state: str) -> frozenset[str]:
    """Who may say this of a visit: whoever plans, and of one that is done whoever made it."""
    return _PLANNING | _MAINTENANCE if state == "done" else _PLANNING


def _narrowed(entry: JournalEntry, site: Site | None) -> frozenset[str]:
    """Who may write a row like this one, as far as its kind does not say."""
    if entry.kind == entries.VISIT:
        return may_visit(str(entry.body.get("state", "")))
    if entry.kind != entries.TASK_DONE:
        return _ALL
    known = site is not None and site.unit(entry.unit) is not None
    task = task_of(site, entry.unit, str(entry.body.get("task", ""))) if site is not None and known else None
    return may_task(task, str(entry.body.get("outcome", "")))


def refuse_unless_may(role: str, wards: Collection[str], entry: JournalEntry, site: Site | None) -> None:
    """NotAllowed unless this role, held to these wards (empty: all), may write this row."""
    wanted = [entry.kind, *([OVERRIDE] if entry.body.get("override") else [])]
    if entry.kind == entries.SITE_CHANGE:
        wanted.append(site_right(entry))
    if role not in _narrowed(entry, site) or not all(may(role, action) for action in wanted):
        raise NotAllowed(f"Your role ({role}) may not do this. Ask somebody whose role may.")
    foreign = sorted(wards_of(entry, site) - set(wards)) if wards else []
    if _carried(entry) and len(foreign) < len(wards_of(entry, site)):
        return  # a unit is fetched from a ward or given to one: one of the two is theirs
    if foreign:
        raise NotAllowed(f"Your account acts in {', '.join(sorted(wards))} only, and this is of {', '.join(foreign)}. "
                         "Ask that ward, or an administrator.")  # fmt: skip


def site_right(entry: JournalEntry) -> str:
    """What a change of the site file needs."""
    body = entry.body
    if body.get("do") in (asked.MOVE, asked.SWAP):
        return PLACE_UNITS
    return ADD_UNITS if body.get("do") == asked.REMOVE or body.get("table") == "unit" else DESCRIBE


def _carried(entry: JournalEntry) -> dict[str, str]:
    return asked.moves_of(entry.body) if entry.kind == entries.SITE_CHANGE else {}


def wards_of(entry: JournalEntry, site: Site | None) -> set[str]:
    """The wards that a row is about; none for what belongs to the whole facility, as parts do."""
    body, fields = entry.body, entry.body.get("fields") or {}
    if moves := _carried(entry):  # where units stand and go: not what else a form may say
        goes = set(moves.values()) if site is None or body["do"] == asked.MOVE else set()
        return (_stand_in(moves, site) | goes) - {""}
    units = {entry.unit, str(body.get("unit", "")), *(str(one.get("unit", "")) for one in body.get("tasks", ()))}
    named = {entry.ward, str(fields.get("ward", "")), *map(str, body.get("wards", ()))}
    return (_stand_in(units, site) | named) - {""}


def _stand_in(units: Collection[str], site: Site | None) -> set[str]:
    return {site.ward_of(unit).id for unit in units if site.unit(unit) is not None} if site is not None else set()
