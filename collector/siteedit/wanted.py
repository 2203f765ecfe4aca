"""Changes of the site file that wait, as a fold over the journal, kept as a status document.

Rules of this file: what was asked for stands in the journal; it is answered by a row of the collector's that names it.
So a collector that dies in between finds it again, and none is answered twice.
"""

from __future__ import annotations

from typing import Any, Final

from collector.rules.entries import SITE_CHANGE, SITE_CHANGED, JournalRow

DOCUMENT: Final = "site-wanted"


class Wanted:
    """What waits, by the row that asked for it, in order; `unsaved` when it differs from what is stored."""

    def __init__(self, document: dict[str, Any] | None) -> None:
        self.waiting: dict[int, dict[str, Any]] = {int(seq): body for seq, body in (document or {}).items()}
        self.unsaved = False

    def fold(self, row: JournalRow) -> None:
        """Take in a journal row."""
        if row.kind == SITE_CHANGE:
            self.waiting[row.seq] = {"who": row.who, "unit": row.unit, "ward": row.ward, **row.body}
            self.unsaved = True
        elif row.kind == SITE_CHANGED and self.waiting.pop(int(row.body.get("change", -1)), None) is not None:
            self.unsaved = True

    def document(self) -> dict[str, Any]:
        """As it is stored."""
        return {str(seq): body for seq, body in self.waiting.items()}
