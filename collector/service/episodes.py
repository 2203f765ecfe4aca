"""What units went through, read from the journal: failing output, times out of service, in store, and work.

Rules of this file: rows come in the order in which they were written, from the start of the record. What was begun
twice was begun once; what was never ended still lasts.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, RAISED
from collector.service import gate
from collector.service.stock import names_fault
from collector.service.work import work_orders

#: Conditions under which a unit does not give what it is for.
FAILING: Final = ("purity-red", "purity-shutdown")
#: Causes that lie outside the unit: overdraw, the supply, the analyser.
NOT_THE_UNIT: Final = frozenset({"flow-above-rated", "supply-voltage-low", "sensor-fault"})

OUT: Final = "out-of-service"
STORE: Final = "in-store"
WORK: Final = "work"

#: Kinds of rows that are looked at here.
KINDS: Final = (
    entries.CONDITION, entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE, entries.WORK_OPENED, entries.WORK_CLOSED,
    entries.PURITY_PROOF,
)  # fmt: skip


class Episode(NamedTuple):
    """A stretch of one unit: from_ms to to_ms (None: it lasts), a condition, OUT, STORE or WORK, the cause told last.

    failing: the unit itself failed in it.
    """

    from_ms: int
    to_ms: int | None
    what: str
    cause: str = "unknown"
    failing: bool = False


class _Fold:
    def __init__(self) -> None:
        self.begun: dict[tuple[str, str], tuple[int, str]] = {}
        self.found: list[tuple[str, Episode]] = []

    def fold(self, row: JournalRow) -> None:
        if row.kind == entries.CONDITION and row.condition in FAILING:
            self._condition(row)
        elif row.kind == entries.OUT_OF_SERVICE:
            stored = row.body.get("for") == gate.STORE
            self._end(row, OUT if stored else STORE)
            self._begin(row, STORE if stored else OUT)
        elif row.kind == entries.RETURN_TO_SERVICE:
            self._end(row, OUT)
            self._end(row, STORE)

    def _condition(self, row: JournalRow) -> None:
        key, cause = (row.unit, row.condition), str(row.body.get("cause") or "unknown")
        event = row.body.get("event")
        if event == RAISED:
            self._begin(row, row.condition, cause)
        elif key in self.begun and cause != "unknown":
            self.begun[key] = (self.begun[key][0], cause)
        if event == CLEARED:
            self._end(row, row.condition)

    def _begin(self, row: JournalRow, what: str, cause: str = "unknown") -> None:
        self.begun.setdefault((row.unit, what), (row.at_ms, cause))

    def _end(self, row: JournalRow, what: str) -> None:
        if (begun := self.begun.pop((row.unit, what), None)) is not None:
            self.found.append((row.unit, _episode(*begun, row.at_ms, what)))

    def all(self) -> list[tuple[str, Episode]]:
        """Everything found, with what still lasts."""
        lasting = [(unit, _episode(*begun, None, what)) for (unit, what), begun in self.begun.items()]
        return self.found + lasting


def episodes(rows: Iterable[JournalRow]) -> dict[str, list[Episode]]:
    """Each unit's episodes by when they began; units without any are left out."""
    kept = [row for row in rows if row.kind in KINDS and row.unit]
    fold = _Fold()
    for row in kept:
        fold.fold(row)
    units: dict[str, list[Episode]] = {}
    for unit, episode in fold.all():
        units.setdefault(unit, []).append(episode)
    for order in work_orders(kept).values():
        work = Episode(order.opened_ms, order.closed_ms, WORK, order.cause or "unknown", names_fault(order.fault_found))
        units.setdefault(order.unit, []).append(work)
    return {unit: sorted(items, key=lambda item: (item.from_ms, item.what)) for unit, items in units.items()}


def _episode(from_ms: int, cause: str, to_ms: int | None, what: str) -> Episode:
    return Episode(from_ms, to_ms, what, cause, what in FAILING and cause not in NOT_THE_UNIT)
