"""What is told of floods: a journal row when one begins and when it has ended, and who floods now."""

from __future__ import annotations

from typing import Any, Final

from collector.rules import entries
from collector.rules.entries import JournalEntry

ENDED_S: Final = 60.0  # of wall time without anything left out
AGAIN_S: Final = 600.0  # of wall time: one that floods on and off is written down this often at the most


class _Source:
    __slots__ = ("began_ms", "last_s", "lost", "news", "written_s")

    def __init__(self) -> None:
        self.lost, self.news, self.last_s, self.written_s = 0, 0, 0.0, float("-inf")
        self.began_ms: int | None = None  # None: not written down as begun


class Report:
    """`left_out` as it happens, `notes` once a turn."""

    def __init__(self) -> None:
        self._sources: dict[tuple[str, str], _Source] = {}

    def left_out(self, kind: str, name: str, n: int) -> None:
        """So many readings or messages of this sender were not taken in."""
        source = self._sources.get((kind, name))
        if source is None:
            source = self._sources[kind, name] = _Source()
        source.news += n

    def notes(self, now_s: float, now_ms: int) -> list[JournalEntry]:
        """Rows for the journal; now_s is monotonic wall time."""
        if not self._sources:
            return []
        found = []
        for (kind, name), source in list(self._sources.items()):
            if source.news:
                source.lost, source.news, source.last_s = source.lost + source.news, 0, now_s
                if source.began_ms is None and now_s - source.written_s >= AGAIN_S:
                    source.began_ms, source.written_s = now_ms, now_s
                    found.append(_row(kind, name, now_ms, "began", source.lost))
            elif source.began_ms is not None and now_s - source.last_s >= ENDED_S:
                found.append(_row(kind, name, now_ms, "ended", source.lost))
                source.began_ms, source.lost = None, 0
            elif source.began_ms is None and now_s - source.last_s >= AGAIN_S:
                del self._sources[kind, name]
        return found

    def status(self) -> list[dict[str, Any]]:
        """Who floods now."""
        return [
            {"kind": kind, "id": name, "left_out": source.lost, "since_ms": source.began_ms}
            for (kind, name), source in self._sources.items() if source.began_ms is not None
        ]  # fmt: skip


def _row(kind: str, name: str, now_ms: int, state: str, lost: int) -> JournalEntry:
    body = {"kind": kind, "id": name, "state": state, "left_out": lost}
    unit = name if kind == "unit" else ""
    return JournalEntry(at_ms=now_ms, kind=entries.FLOOD, unit=unit, origin="collector", body=body)
