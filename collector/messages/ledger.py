"""What was told, to whom and when: a fold over the journal's `message-sent` and `message-failed`; pure.

Rules of this file: what is not in the journal was not told. So nothing is told twice after a restart, except in the one
moment between a gateway's answer and the row that says so: at least once, for every priority.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Any, Final

import msgspec

from collector.rules.entries import MESSAGE_FAILED, MESSAGE_SENT, TEST_ALARM, JournalRow
from collector.rules.events import PRIORITIES
from collector.rules.limits import HOUR, MINUTE

KINDS: Final = (MESSAGE_SENT, MESSAGE_FAILED, TEST_ALARM)
BURST: Final = 5  # so many messages…
BURST_MS: Final = 12 * MINUTE  # …within this are a flood; longer than so many pauses of a flood
FORGET_MS: Final = 6 * HOUR  # a happening that was told longer ago is a new one
_FAMILIES: Final = {
    "output": ("capacity-falling", "shutdown-expected", "purity-amber", "purity-red", "purity-shutdown"),
    "flow": ("flow-above-rated", "flow-above-ward-limit", "flow-absent"),
    "supply": ("supply-lost", "ward-supply-lost", "supply-poor"),
}
_FAMILY_OF: Final = {condition: family for family, members in _FAMILIES.items() for condition in members}


def family_of(condition: str) -> str:
    """Conditions of one family tell of one happening: amber, red and switched off are one unit that fails."""
    return _FAMILY_OF.get(condition, condition)


class Told(msgspec.Struct):
    """The last message of one happening on one way: the highest priority told, and how many since it was first told."""

    at_ms: int
    rank: int
    times: int
    condition: str


class WayPast(msgspec.Struct):
    """What went a way: the moments of its last messages, failures without a success since, and when the last was."""

    sent_ms: deque[int] = msgspec.field(default_factory=lambda: deque(maxlen=BURST))
    failures: int = 0
    failed_ms: int = 0
    said: str = ""


class Ledger:
    """`sent` and `tries` by (way, about); `told` by (way, unit or ward, family); `ways` by way; `tests` by row."""

    def __init__(self, rows: Iterable[JournalRow] = ()) -> None:
        self.sent: dict[tuple[str, str], int] = {}
        self.tries: dict[tuple[str, str], int] = {}
        self.told: dict[tuple[str, str, str], Told] = {}
        self.ways: dict[str, WayPast] = {}
        self.tests: dict[int, JournalRow] = {}
        for row in rows:
            self.fold(row)

    def fold(self, row: JournalRow) -> None:
        """Take in a journal row; rows of other kinds, and bodies that nobody here wrote, are passed over."""
        if row.kind == TEST_ALARM:
            self.tests[row.seq] = row
        elif row.kind in (MESSAGE_SENT, MESSAGE_FAILED) and isinstance(row.body.get("alarms"), list):
            self._fold_message(row, str(row.body.get("way", "")))

    def past(self, way: str) -> WayPast:
        """What went this way so far."""
        return self.ways.setdefault(way, WayPast())

    def forget(self, abouts: set[str]) -> None:
        """Drop what is known of anything but these, which is over; tests that are over with them."""
        self.sent = {key: at_ms for key, at_ms in self.sent.items() if key[1] in abouts}
        self.tries = {key: tries for key, tries in self.tries.items() if key[1] in abouts}
        self.tests = {seq: row for seq, row in self.tests.items() if f"test-{seq}" in abouts}

    def _fold_message(self, row: JournalRow, way: str) -> None:
        past, sent = self.past(way), row.kind == MESSAGE_SENT
        for item in row.body["alarms"]:
            key = way, str(item["about"])
            if sent:
                self.sent[key] = row.at_ms
                self._note(way, item, row.at_ms)
            else:
                self.tries[key] = self.tries.get(key, 0) + 1
        if sent:
            past.sent_ms.append(row.at_ms)
            past.failures, past.said = 0, ""
        else:
            past.failures, past.failed_ms, past.said = past.failures + 1, row.at_ms, str(row.body.get("said", ""))

    def _note(self, way: str, item: dict[str, Any], at_ms: int) -> None:
        key = way, str(item["unit"] or item["ward"]), family_of(str(item["condition"]))
        rank, before = PRIORITIES.index(item["priority"]), self.told.get(key)
        news = before is None or rank > before.rank or at_ms - before.at_ms > FORGET_MS
        rank, times = (rank, 1) if before is None or news else (before.rank, before.times + 1)
        self.told[key] = Told(at_ms, rank, times, str(item["condition"]))
