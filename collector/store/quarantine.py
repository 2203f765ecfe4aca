"""What could not be read: kept as evidence, counted for ever."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

import msgspec

from collector.store.connect import reads

#: Oldest are dropped beyond this many; the counts stay.
KEPT_ROWS: Final = 10_000
#: Of one payload. With KEPT_ROWS this bounds the table to 640 MB at the very worst.
KEPT_BYTES: Final = 64 * 1024
_KEPT_CHARS: Final = 1_000  # of a topic and of a reason: MQTT allows topics of 64 KiB

_COUNT: Final = """INSERT INTO quarantine_count VALUES (?, ?)
    ON CONFLICT (reason_kind) DO UPDATE SET n = n + excluded.n"""


class Quarantined(msgspec.Struct, frozen=True):
    """A message, or a moment in one, that could not be taken in.

    reason_kind groups for counting, reason is for people. The store keeps the first 64 KiB of the payload; size is how
    many bytes there were (None: all of them are in payload).
    """

    received_ms: int
    topic: str
    payload: bytes
    reason_kind: str
    reason: str
    size: int | None = None


def add(
    conn: sqlite3.Connection, items: Iterable[Quarantined], unkept: Mapping[str, int] | None = None, *,
    kept_rows: int = KEPT_ROWS,
) -> None:  # fmt: skip
    """Keep and count items inside the caller's transaction; unkept are counted only, by kind of reason."""
    rows = [
        (q.received_ms, _printable(q.topic), q.payload[:KEPT_BYTES], len(q.payload) if q.size is None else q.size,
         q.reason_kind, _printable(q.reason))
        for q in items
    ]  # fmt: skip
    counts = Counter(row[4] for row in rows)
    counts.update(unkept or {})
    if counts:
        conn.executemany(_COUNT, counts.items())
    if not rows:
        return
    conn.executemany("INSERT INTO quarantine (received_ms, topic, payload, size, reason_kind, reason) "
                     "VALUES (?, ?, ?, ?, ?, ?)", rows)  # fmt: skip
    conn.execute("DELETE FROM quarantine WHERE id <= (SELECT max(id) FROM quarantine) - ?", (kept_rows,))


def _printable(text: str) -> str:
    # A topic from a broken client may hold lone surrogates, which SQLite refuses.
    return text[:_KEPT_CHARS].encode("utf-8", "backslashreplace").decode("utf-8")


@reads
def quarantine_rows(conn: sqlite3.Connection, limit: int = 200) -> list[Quarantined]:
    """What was put aside last, newest first."""
    found = conn.execute("SELECT received_ms, topic, payload, reason_kind, reason, size FROM quarantine "
                         "ORDER BY id DESC LIMIT ?", (limit,))  # fmt: skip
    return [Quarantined(*row) for row in found]


@reads
def quarantine_counts(conn: sqlite3.Connection) -> dict[str, int]:
    """How many there ever were, by kind of reason."""
    return dict(conn.execute("SELECT reason_kind, n FROM quarantine_count ORDER BY reason_kind").fetchall())
