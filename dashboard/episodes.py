"""A unit's alarm history: what was raised, when it ended, how long it lasted; pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.rules.entries import ACKNOWLEDGE, CONDITION, JournalRow
from collector.rules.events import CLEARED, RAISED


class Episode(NamedTuple):
    """One alarm from raised to cleared; raised_ms is None when it began before the rows that were looked at."""

    unit: str
    ward: str
    condition: str
    priority: str
    raised_ms: int | None
    cleared_ms: int | None
    acknowledged: str

    @property
    def lasted_ms(self) -> int | None:
        """How long it was there; None while it lasts, or when its beginning is not known."""
        return None if self.raised_ms is None or self.cleared_ms is None else self.cleared_ms - self.raised_ms


def episodes(rows: Sequence[JournalRow]) -> list[Episode]:
    """Put the rows of alarms (in any order) together, newest first."""
    found: list[Episode] = []
    standing: dict[tuple[str, str, str], int] = {}
    for row in sorted(rows, key=lambda row: row.seq):
        key = (row.unit, "" if row.unit else row.ward, row.condition)
        event = row.body.get("event") if row.kind == CONDITION else None
        if event == RAISED or (event is not None and key not in standing):
            standing[key] = len(found)
            raised_ms = row.at_ms if event == RAISED else None
            found.append(Episode(row.unit, row.ward, row.condition, str(row.body.get("priority", "low")), raised_ms,
                                 None, ""))  # fmt: skip
        if key not in standing:
            continue
        place = standing[key]
        if event == CLEARED:
            found[place] = found[place]._replace(cleared_ms=row.at_ms)
            del standing[key]
        elif row.kind == ACKNOWLEDGE and not found[place].acknowledged:
            found[place] = found[place]._replace(acknowledged=f"{row.who} ({row.role})" if row.role else row.who)
    found.sort(key=lambda one: -(one.raised_ms or one.cleared_ms or 0))
    return found
