"""Stored readings back again, from the hot table and from packed hours.

Rules of this file: what belongs together is read in one snapshot, since upkeep moves readings meanwhile; a snapshot is
never held while a caller works on what it got, since that would keep the WAL from being cut back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.reading import Reading
from collector.store.columns import Columns, reading_of, unpack
from collector.store.connect import reads, snapshot
from collector.store.readings import COLUMNS, HOUR_MS

_CHUNK: Final = 5_000  # readings made into objects at a time
# The columns put into these statements are a constant of this package.
_PACKED: Final = "SELECT blob FROM reading_hour WHERE unit_no = ? AND hour_ms >= ? AND hour_ms < ? ORDER BY hour_ms"
_HOT: Final = f"SELECT {COLUMNS} FROM reading WHERE time_ms >= ? AND time_ms < ? AND unit_no = ?"  # noqa: S608
_HOT_ALL: Final = f"SELECT unit_no, {COLUMNS} FROM reading WHERE time_ms >= ? AND time_ms < ?"  # noqa: S608
_FOREVER_MS: Final = 2**62


@reads
def readings(conn: sqlite3.Connection, unit: str, from_ms: int, to_ms: int) -> Columns:
    """One unit's readings with from_ms <= time < to_ms, oldest first; empty when the unit is not known."""
    with snapshot(conn):
        found = conn.execute("SELECT unit_no FROM unit_no WHERE unit = ?", (unit,)).fetchone()
        if found is None:
            return Columns.of_rows([])
        hours = (found[0], from_ms // HOUR_MS * HOUR_MS, to_ms)
        blobs = conn.execute(_PACKED, hours).fetchall()
        hot = conn.execute(_HOT, (from_ms, to_ms, found[0])).fetchall()
    return Columns.joined([*(unpack(blob) for (blob,) in blobs), Columns.of_rows(hot)]).between(from_ms, to_ms)


def iter_readings(
    conn: sqlite3.Connection, from_ms: int | None = None, to_ms: int | None = None, units: Collection[str] | None = None
) -> Iterator[Reading]:
    """Readings of all units (or of these) in order of time, then of unit id, holding one hour in memory at a time."""
    at, end = from_ms or 0, _FOREVER_MS if to_ms is None else to_ms
    while (hour := next_hour(conn, at)) is not None and hour < end:
        numbers, names, columns = within_hour(conn, hour, hour + HOUR_MS, units)
        for start in range(0, len(columns), _CHUNK):
            part = columns.taken(slice(start, start + _CHUNK))
            for number, row in zip(numbers[start : start + _CHUNK].tolist(), part.rows(), strict=True):
                if at <= row[0] < end:
                    yield reading_of(names[number], row)
        at = hour + HOUR_MS


@reads
def next_hour(conn: sqlite3.Connection, from_ms: int) -> int | None:
    """The hour that holds the first reading from there on, or a packed one of the same hour before it."""
    with snapshot(conn):
        (packed,) = conn.execute("SELECT min(hour_ms) FROM reading_hour WHERE hour_ms >= ?",
                                 (from_ms // HOUR_MS * HOUR_MS,)).fetchone()  # fmt: skip
        (hot,) = conn.execute("SELECT min(time_ms) FROM reading WHERE time_ms >= ?", (from_ms,)).fetchone()
    hours = [ms // HOUR_MS * HOUR_MS for ms in (packed, hot) if ms is not None]
    return min(hours, default=None)


@reads
def within_hour(
    conn: sqlite3.Connection, from_ms: int, to_ms: int, units: Collection[str] | None = None
) -> tuple[NDArray[np.int64], dict[int, str], Columns]:
    """All readings with from_ms <= time < to_ms, which lie in one hour, by time and unit id.

    Also the unit number of each, and the names of the numbers.
    """
    hour = from_ms // HOUR_MS * HOUR_MS
    with snapshot(conn):
        names = {no: unit for no, unit in conn.execute("SELECT unit_no, unit FROM unit_no ORDER BY unit")
                 if units is None or unit in units}  # fmt: skip
        blobs = conn.execute("SELECT unit_no, blob FROM reading_hour WHERE hour_ms = ?", (hour,)).fetchall()
        hot = conn.execute(_HOT_ALL, (from_ms, to_ms))
        rows = [row for row in hot if row[0] in names]
    parts = [(no, unpack(blob).between(from_ms, to_ms)) for no, blob in blobs if no in names]
    numbers = np.concatenate([np.array([row[0] for row in rows], np.int64), *(np.full(len(p), no) for no, p in parts)])
    columns = Columns.stacked([Columns.of_rows([row[1:] for row in rows]), *(part for _, part in parts)])
    rank = {no: place for place, no in enumerate(names)}
    order = np.lexsort((np.array([rank[no] for no in numbers.tolist()], np.int64), columns.time_ms))
    return numbers[order], names, columns.taken(order)
