"""What the journal says of one unit's upkeep: its hours day by day, what was done to it, and what signs it gave.

A fold, row by row in the order of `seq`; what it makes is small and can be stored, so that a long journal is read once.
Moments are those at which things happened (`at_ms`): something written down late counts from when it was done.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, RAISED
from collector.service.gate import STORE
from collector.service.running import LOOK_BACK_DAYS, Point
from collector.service.tasks import task_of, tasks_of
from collector.site import Site

#: Kinds of rows that this fold reads.
KINDS: Final = (
    entries.SERVICE_HOURS, entries.TASK_DONE, entries.PURITY_PROOF, entries.WORK_OPENED, entries.WORK_CLOSED,
    entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE, entries.CONDITION,
)  # fmt: skip
#: Conditions that this fold leads to.
SERVICE_DUE: Final = "service-due"
VERIFICATION_DUE: Final = "verification-due"
DUE: Final = (SERVICE_DUE, VERIFICATION_DUE)
#: Why a unit's output has to be checked again; `DueTask.sign` says them.
REPAIRED: Final = "repaired"
RETURNED: Final = "returned"
PARTS_CHANGED: Final = "parts-changed"
CHECK_FAILED: Final = "check-failed"


class Done(msgspec.Struct, array_like=True, frozen=True):
    """When a task was last done, and what the unit's meter showed then (None: not written down)."""

    at_ms: int
    meter_h: float | None = None


class Sign(msgspec.Struct, array_like=True):
    """Something that the rules told of a unit: since when, by which cause, and whether it still stands."""

    since_ms: int
    cause: str
    stands: bool = True


class UnitRecord(msgspec.Struct, array_like=True):
    """One unit's upkeep; `missed` counts by task the outcomes other than done since it was last done.

    `told` holds by condition which tasks people have been told are due, and when. doubted_ms is since when its output
    has to be checked again, for `doubt`; None once a check has passed. While it is in hand, no check is due.
    """

    points: list[Point] = []
    lost_h: tuple[float, float] = (0.0, 0.0)  # hours counted before the rules lost their memory of it
    ran_ms: int | None = None  # the end of the last day in which it ran
    done: dict[str, Done] = {}
    missed: dict[str, dict[str, int]] = {}
    signs: dict[str, Sign] = {}
    told: dict[str, dict[str, int]] = {}
    mended_ms: int = 0  # the last work order that was closed, or check that passed: answers every sign before it
    doubted_ms: int | None = None
    doubt: str = ""
    open_work: list[str] = []
    out: bool = False  # taken out of service for repair

    @property
    def in_hand(self) -> bool:
        """Whether somebody is at work on it: what it gives is checked when they are done."""
        return self.out or bool(self.open_work)

    def done_ms(self, task: str) -> int:
        """When a task was last done; 0 for never."""
        return self.done[task].at_ms if task in self.done else 0


class Record(msgspec.Struct):
    """Every unit's upkeep, the journal row it goes up to, and when the journal begins."""

    units: dict[str, UnitRecord] = {}
    seq: int = 0
    start_ms: int | None = None

    def fold(self, row: JournalRow, site: Site) -> bool:
        """Take in one row; True when it may change what is due at once."""
        self.seq = max(self.seq, row.seq)
        self.start_ms = row.at_ms if self.start_ms is None else min(self.start_ms, row.at_ms)
        if row.kind not in KINDS or site.unit(row.unit) is None:
            return False
        unit = self.units.setdefault(row.unit, UnitRecord())
        if row.kind == entries.SERVICE_HOURS:
            _count(unit, row)
            return False
        if row.kind == entries.CONDITION:
            _tell(unit, row)
            return False
        _do(unit, row, site)
        return True


def record_of(site: Site, rows: Iterable[JournalRow]) -> Record:
    """The record that these rows make, in the order of `seq`."""
    record = Record()
    for row in rows:
        record.fold(row, site)
    return record


def _count(unit: UnitRecord, row: JournalRow) -> None:
    body, last = row.body, unit.points[-1] if unit.points else None
    known_h = float(body.get("observed_h") or 0) + float(body.get("inferred_h") or 0)
    unknown_h = float(body.get("unknown_h") or 0)
    if last is not None and row.at_ms <= last.at_ms:
        return
    lost_known_h, lost_unknown_h = unit.lost_h
    if last is not None and (known_h + lost_known_h < last.known_h or unknown_h + lost_unknown_h < last.unknown_h):
        unit.lost_h = lost_known_h, lost_unknown_h = last.known_h, last.unknown_h
    point = Point(row.at_ms, known_h + lost_known_h, unknown_h + lost_unknown_h, body.get("meter_h"))
    if last is None or point.known_h > last.known_h:
        unit.ran_ms = row.at_ms if last is not None or point.known_h > 0 else None
    unit.points.append(point)
    if len(unit.points) > 2 * LOOK_BACK_DAYS:
        _thin(unit)


def _thin(unit: UnitRecord) -> None:
    """Of days long ago only the first, and those around something that was done, are kept."""
    points, kept = unit.points, []
    moments = sorted(done.at_ms for done in unit.done.values())
    for i, point in enumerate(points[:-LOOK_BACK_DAYS]):
        until = points[i + 1].at_ms
        after = points[i - 1].at_ms if i else 0
        if i == 0 or any(after <= moment <= until for moment in moments):
            kept.append(point)
    unit.points = [*kept, *points[-LOOK_BACK_DAYS:]]


def _tell(unit: UnitRecord, row: JournalRow) -> None:
    body, event = row.body, row.body.get("event")
    if row.condition in DUE:
        tasks = () if event == CLEARED else body.get("evidence", {}).get("tasks", ())
        before = unit.told.get(row.condition, {})
        unit.told = {**unit.told, row.condition: {task: before.get(task, row.at_ms) for task in tasks}}
        return
    known, cause = unit.signs.get(row.condition), str(body.get("cause") or "unknown")
    if event == CLEARED:
        if known is not None:
            known.stands = False
    elif known is None or event == RAISED or cause not in (known.cause, "unknown"):
        unit.signs = {**unit.signs, row.condition: Sign(row.at_ms, cause)}


def _do(unit: UnitRecord, row: JournalRow, site: Site) -> None:
    if row.kind in (entries.WORK_OPENED, entries.WORK_CLOSED):
        _work(unit, row)
    elif row.kind in (entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE):
        _take_out(unit, row)
    elif row.kind == entries.PURITY_PROOF:
        _prove(unit, row, site)
    elif row.body.get("outcome") == entries.DONE:
        task = task_of(site, row.unit, str(row.body.get("task")))
        if task is not None and not task.proof:  # a check without its figures proves nothing
            _done(unit, task.id, row)
            if task.takes_unit_out and (task.parts or row.body.get("parts")):
                _doubt(unit, row.at_ms, PARTS_CHANGED)
    else:
        task_id, outcome = str(row.body.get("task")), str(row.body.get("outcome"))
        counts = unit.missed.get(task_id, {})
        unit.missed = {**unit.missed, task_id: {**counts, outcome: counts.get(outcome, 0) + 1}}


def _work(unit: UnitRecord, row: JournalRow) -> None:
    """A check that was made before the order is closed counts: it is the repair's own."""
    work = str(row.body.get("work"))
    if row.kind == entries.WORK_OPENED:
        unit.open_work = [*unit.open_work, work]
        _doubt(unit, row.at_ms, REPAIRED)
        return
    unit.open_work = [other for other in unit.open_work if other != work]
    unit.mended_ms = max(unit.mended_ms, row.at_ms)
    if unit.doubted_ms is not None:
        unit.doubted_ms = max(unit.doubted_ms, row.at_ms)


def _take_out(unit: UnitRecord, row: JournalRow) -> None:
    """Taken out for anything but the store, it needs a check; one that it came back without is due."""
    if row.kind == entries.RETURN_TO_SERVICE:
        if unit.out and unit.doubted_ms is not None:
            unit.doubted_ms = max(unit.doubted_ms, row.at_ms)
        unit.out = False
    elif row.body.get("for") != STORE:
        unit.out = True
        _doubt(unit, row.at_ms, RETURNED)


def _prove(unit: UnitRecord, row: JournalRow, site: Site) -> None:
    """A check that passed is the check done; one that failed leaves it due at once."""
    if row.body.get("result") != entries.PASS:
        unit.doubted_ms, unit.doubt = row.at_ms, CHECK_FAILED
        return
    unit.mended_ms = max(unit.mended_ms, row.at_ms)
    if unit.doubted_ms is not None and row.at_ms >= unit.doubted_ms:
        unit.doubted_ms, unit.doubt = None, ""
    for task in tasks_of(site, row.unit):
        if task.proof:
            _done(unit, task.id, row)


def _done(unit: UnitRecord, task: str, row: JournalRow) -> None:
    if row.at_ms < unit.done_ms(task):
        return
    meter_h = row.body.get("meter_h")
    unit.done = {**unit.done, task: Done(row.at_ms, meter_h if isinstance(meter_h, int | float) else None)}
    unit.missed = {name: counts for name, counts in unit.missed.items() if name != task}


def _doubt(unit: UnitRecord, at_ms: int, why: str) -> None:
    if unit.doubted_ms is None:
        unit.doubted_ms, unit.doubt = at_ms, why
