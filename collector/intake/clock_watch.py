"""Notices that this machine's clock was set while the collector ran, or that the machine slept.

A clock that is set back makes every reading look as if it came from the future, one that is set forward makes every
unit look silent: whoever reads the alarms of that minute must be able to see why.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from collector.rules import entries
from collector.rules.entries import JournalEntry

JUMP_S: Final = 5.0  # a time service that slews moves far less between two turns
SAID_S: Final = 3600.0


class ClockWatch:
    """Compares the wall's clock with one that nobody sets; `said` is about the last jump, for SAID_S after it."""

    def __init__(self, wall_s: Callable[[], float], monotonic_s: Callable[[], float]) -> None:
        self._wall_s, self._monotonic_s = wall_s, monotonic_s
        self._offset_s = wall_s() - monotonic_s()
        self._jumped_s, self._by_s = float("-inf"), 0.0

    def notes(self, now_ms: int) -> list[JournalEntry]:
        """What is to be written down of a clock that was set since the last call."""
        now_s = self._monotonic_s()
        offset_s = self._wall_s() - now_s
        by_s, self._offset_s = offset_s - self._offset_s, offset_s
        if abs(by_s) < JUMP_S:
            return []
        self._jumped_s, self._by_s = now_s, by_s
        body = {"by_s": round(by_s, 1)}
        return [JournalEntry(at_ms=now_ms, kind=entries.CLOCK_JUMPED, origin="collector", body=body)]

    @property
    def said(self) -> list[str]:
        """The last jump in words, nothing when it is long ago."""
        if self._monotonic_s() - self._jumped_s > SAID_S:
            return []
        way = "forward" if self._by_s > 0 else "back"
        return [
            f"The clock of this computer was set {way} by {abs(self._by_s):.0f} s within the last hour: times and "
            "silences of that moment may be wrong. Check its date and time."
        ]
