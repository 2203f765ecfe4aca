"""What became of warnings, and how soon people answered: folds over the journal.

Rules of this file: rows come in the order in which they were written down. A warning is one `shutdown-expected` from
raised to cleared. It counts as acted on when, before any shut-off of it, somebody acknowledged it or took the unit out
of service; whether a patient was changed over nobody writes down, so nothing here claims it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.events import CLEARED, RAISED
from collector.rules.limits import MINUTE

WARNING: Final = "shutdown-expected"
SHUT_OFF: Final = "purity-shutdown"
#: A shut-off so long after a warning was cleared is still what it warned of: output that jumps about lets a warning end
#: a moment too early. Common practice, no source.
AFTER_MS: Final = 30 * MINUTE

ACTED: Final = "acted on"
ACTED_SHUT_OFF: Final = "acted on, shut off later"
SHUT_OFF_FIRST: Final = "shut off before anybody acted"
ENDED: Final = "ended by itself"
STANDS: Final = "still stands"


class Warned(msgspec.Struct, kw_only=True):
    """One warning, or a shut-off without one (raised_ms None); times in ms, None for "did not happen"."""

    unit: str
    ward: str
    raised_ms: int | None
    acknowledged_ms: int | None = None
    acknowledged_by: str = ""
    taken_out_ms: int | None = None
    shut_off_ms: int | None = None
    cleared_ms: int | None = None

    @property
    def acted_ms(self) -> int | None:
        """When somebody first acted, before a shut-off if there was one."""
        acted = [at for at in (self.acknowledged_ms, self.taken_out_ms) if at is not None]
        first = min(acted, default=None)
        return None if first is None or (self.shut_off_ms is not None and first > self.shut_off_ms) else first

    @property
    def fate(self) -> str:
        """What became of it, in words."""
        if self.acted_ms is not None:
            return ACTED if self.shut_off_ms is None else ACTED_SHUT_OFF
        if self.shut_off_ms is not None:
            return SHUT_OFF_FIRST
        return STANDS if self.cleared_ms is None else ENDED


class Raised(msgspec.Struct, kw_only=True):
    """One alarm from raised to cleared, and who acknowledged it first."""

    unit: str
    ward: str
    condition: str
    priority: str
    audience: tuple[str, ...]
    raised_ms: int
    cleared_ms: int | None = None
    acknowledged_ms: int | None = None
    acknowledged_by: str = ""

    @property
    def answer_min(self) -> float | None:
        """Minutes from raised to acknowledged."""
        return None if self.acknowledged_ms is None else max(0, self.acknowledged_ms - self.raised_ms) / MINUTE


def alarms_raised(rows: Iterable[JournalRow]) -> list[Raised]:
    """Every alarm that these rows raise, in order; the priority is the highest it rose to."""
    found: list[Raised] = []
    standing: dict[tuple[str, str, str], Raised] = {}
    for row in rows:
        key = (row.unit, "" if row.unit else row.ward, row.condition)
        said = row.body.get("event") if row.kind == entries.CONDITION else None
        if said == RAISED and key not in standing:
            standing[key] = Raised(
                unit=row.unit, ward=row.ward, condition=row.condition, priority=str(row.body.get("priority", "low")),
                audience=tuple(row.body.get("audience", ())), raised_ms=row.at_ms,
            )  # fmt: skip
            found.append(standing[key])
        elif key in standing:
            _go_on(standing[key], row, said)
            if said == CLEARED:
                del standing[key]
    return found


def _go_on(alarm: Raised, row: JournalRow, said: object) -> None:
    if said == CLEARED:
        alarm.cleared_ms = row.at_ms
    elif said is not None:
        rank = ("low", "medium", "high")
        alarm.priority = max(alarm.priority, str(row.body.get("priority", "low")), key=rank.index)
    elif row.kind == entries.ACKNOWLEDGE and alarm.acknowledged_ms is None:
        alarm.acknowledged_ms, alarm.acknowledged_by = row.at_ms, row.who


def warnings(rows: Iterable[JournalRow], from_ms: int, to_ms: int) -> list[Warned]:
    """Warnings raised, and shut-offs without a warning, with from_ms <= time < to_ms; rows may begin earlier."""
    rows = list(rows)
    found: list[Warned] = []
    last: dict[str, Warned] = {}
    out: set[str] = set()
    for row in rows:
        if row.kind in (entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE):
            (out.add if row.kind == entries.OUT_OF_SERVICE else out.discard)(row.unit)
        if row.condition == WARNING and row.body.get("event") == RAISED:
            last[row.unit] = Warned(unit=row.unit, ward=row.ward, raised_ms=row.at_ms)
            found.append(last[row.unit])
        elif row.condition == SHUT_OFF and row.body.get("event") == RAISED:
            _shut_off(found, last, row, out)
        elif row.unit in last:
            _follow(last[row.unit], row)
    return [one for one in found if from_ms <= _begun(one) < to_ms]


def _begun(one: Warned) -> int:
    return one.raised_ms if one.raised_ms is not None else one.shut_off_ms or 0


def _shut_off(found: list[Warned], last: dict[str, Warned], row: JournalRow, out: set[str]) -> None:
    warned = last.get(row.unit)
    if warned is not None and warned.shut_off_ms is None and _belongs(warned, row.at_ms):
        warned.shut_off_ms = row.at_ms
    elif row.unit not in out:
        found.append(Warned(unit=row.unit, ward=row.ward, raised_ms=None, shut_off_ms=row.at_ms))


def _belongs(warned: Warned, at_ms: int) -> bool:
    return warned.cleared_ms is None or at_ms - warned.cleared_ms <= AFTER_MS


def _follow(warned: Warned, row: JournalRow) -> None:
    if row.kind == entries.OUT_OF_SERVICE and warned.taken_out_ms is None and _belongs(warned, row.at_ms):
        warned.taken_out_ms = row.at_ms
    elif row.condition == WARNING and row.kind == entries.ACKNOWLEDGE and warned.acknowledged_ms is None:
        if _belongs(warned, row.at_ms):
            warned.acknowledged_ms, warned.acknowledged_by = row.at_ms, row.who
    elif row.condition == WARNING and row.body.get("event") == CLEARED and warned.cleared_ms is None:
        warned.cleared_ms = row.at_ms
