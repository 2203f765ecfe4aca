"""A test of the alarm's way: shown as TEST to wards until it is over, and never in the place of an alarm; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import msgspec

from collector.reading import iso_utc
from collector.rules.entries import TEST_ALARM, JournalRow

DOCUMENT: Final = "test-alarm"  # the status document that screens read
RESULT_DOCUMENT: Final = "test-alarm-result"  # what came of the last one
SAY: Final = "TEST of the alarm's way: this is no alarm and asks for nothing. Real alarms go on beside it."


class WayTest(msgspec.Struct, frozen=True, kw_only=True):
    """One test: its journal row, the wards it goes to, who asked for it; times in ms since 1970 UTC."""

    seq: int
    at_ms: int
    until_ms: int
    wards: tuple[str, ...]
    who: str = ""
    say: str = SAY

    def stands(self, now_ms: int) -> bool:
        """Whether it is still to be shown."""
        return now_ms < self.until_ms


class WayTests:
    """The last test as a fold over the journal; `unsaved` when `document` differs from what was stored."""

    def __init__(self, document: Mapping[str, Any] | None = None) -> None:
        self.last = way_test_in(document)
        self.unsaved = False
        self._shown = self.last is not None

    def fold(self, row: JournalRow) -> frozenset[str]:
        """Take in a row; returns the wards whose signals change by it."""
        if row.kind != TEST_ALARM:
            return frozenset()
        before = frozenset(self.last.wards) if self.last else frozenset()
        body = {"seq": row.seq, "at_ms": row.at_ms, "who": row.who, **row.body}
        if (test := way_test_in(body)) is None:
            return frozenset()
        self.last, self.unsaved, self._shown = test, True, True
        return before | frozenset(test.wards)

    def over(self, now_ms: int) -> frozenset[str]:
        """Wards whose test has come to its end since the last call."""
        if self.last is None or not self._shown or self.last.stands(now_ms):
            return frozenset()
        self._shown = False
        return frozenset(self.last.wards)

    def signal(self, ward: str, now_ms: int) -> dict[str, Any] | None:
        """What a ward's signal says of the test that stands, or None."""
        test = self.last
        if test is None or ward not in test.wards or not test.stands(now_ms):
            return None
        return {"seq": test.seq, "at": iso_utc(test.at_ms), "until": iso_utc(test.until_ms), "who": test.who,
                "say": test.say}  # fmt: skip

    def document(self) -> dict[str, Any]:
        """The last test as it is stored."""
        return msgspec.to_builtins(self.last) if self.last else {}


def way_test_in(document: Mapping[str, Any] | None) -> WayTest | None:
    """The test of a status document or a row's body; None when there is none, or nobody here wrote it."""
    try:
        return msgspec.convert(document, WayTest) if document else None
    except msgspec.ValidationError:
        return None
