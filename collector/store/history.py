"""Everything that screens and exports read, on a connection that only reads.

Rules of this file: ranges are from_ms <= time < to_ms; every function sees one moment of the store; errors come out as
StoreError. A connection is used by one thread at a time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from pathlib import Path

import msgspec

from collector.rules.entries import JournalRow
from collector.store import journal
from collector.store.capacity import capacity_points
from collector.store.columns import Columns
from collector.store.connect import BUSY_MS, connect_reader, reads, snapshot, store_path
from collector.store.present import alarm_rows, status, statuses, unit_rows
from collector.store.quarantine import quarantine_counts, quarantine_rows
from collector.store.recall import iter_readings, readings
from collector.store.schema import check_schema
from collector.store.series import Band, Series, series

__all__ = [
    "Band", "Columns", "Extent", "Series", "alarm_rows", "capacity_points", "extent", "iter_readings", "journal_after",
    "journal_rows",
    "open_reader", "quarantine_counts", "quarantine_rows", "readings", "series", "status", "statuses", "unit_rows",
]  # fmt: skip


class Extent(msgspec.Struct, frozen=True, kw_only=True):
    """What the store holds; None when there is no reading. file_bytes includes free_bytes, which are used again."""

    units: int
    oldest_ms: int | None
    newest_ms: int | None
    journal_rows: int
    file_bytes: int
    free_bytes: int


def open_reader(data_dir: Path, *, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """A connection that only reads; StoreError (missing, older-schema, newer-schema …) when it cannot be read."""
    path = store_path(data_dir)
    conn = connect_reader(path, busy_ms=busy_ms)
    try:
        check_schema(conn, path)
    except BaseException:
        conn.close()
        raise
    return conn


@reads
def journal_rows(
    conn: sqlite3.Connection,
    unit: str | None = None,
    from_ms: int | None = None,
    to_ms: int | None = None,
    kinds: Collection[str] | None = None,
    limit: int = 500,
) -> list[JournalRow]:
    """Journal rows by when they happened, newest first, at most limit; None means any."""
    where = ["at_ms >= ?", "at_ms < ?"]
    values: list[str | int] = [from_ms or 0, 2**62 if to_ms is None else to_ms]
    if unit is not None:
        where.append("unit = ?")
        values.append(unit)
    if kinds is not None:
        where.append(f"kind IN ({', '.join('?' * len(kinds))})")
        values.extend(kinds)
    found = conn.execute(
        f"{journal.SELECT} WHERE {' AND '.join(where)} ORDER BY at_ms DESC, seq DESC LIMIT ?", [*values, limit]
    )
    return [journal.row_of(row) for row in found]


@reads
def journal_after(conn: sqlite3.Connection, seq: int, limit: int = 1_000) -> list[JournalRow]:
    """Journal rows after that one, in the order in which they were written, at most limit."""
    found = conn.execute(f"{journal.SELECT} WHERE seq > ? ORDER BY seq LIMIT ?", (seq, limit))
    return [journal.row_of(values) for values in found]


@reads
def facility_id(conn: sqlite3.Connection) -> str:
    """Whose store this is; "" before its collector has claimed it."""
    row = conn.execute("SELECT value FROM meta WHERE key = 'facility'").fetchone()
    return str(row[0]) if row else ""


@reads
def extent(conn: sqlite3.Connection) -> Extent:
    """How much there is, and from when to when."""
    with snapshot(conn):
        hot_first, hot_last = conn.execute("SELECT min(time_ms), max(time_ms) FROM reading").fetchone()
        packed_first, packed_last = conn.execute("SELECT min(hour_ms), max(hour_ms) FROM reading_hour").fetchone()
        (units,) = conn.execute("SELECT count(*) FROM unit_no").fetchone()
        (rows,) = conn.execute("SELECT seq FROM journal_head").fetchone()
        pages, free, size = (conn.execute(f"PRAGMA {name}").fetchone()[0]
                             for name in ("page_count", "freelist_count", "page_size"))  # fmt: skip
    return Extent(
        units=units,
        oldest_ms=min((ms for ms in (hot_first, packed_first) if ms is not None), default=None),
        newest_ms=max((ms for ms in (hot_last, packed_last) if ms is not None), default=None),
        journal_rows=rows, file_bytes=pages * size, free_bytes=free * size,
    )  # fmt: skip
