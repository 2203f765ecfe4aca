"""Hot readings into packed hours: small to keep and fast to read one unit back."""

from __future__ import annotations

import sqlite3
from typing import Final

import numpy as np

from collector.store.columns import Columns, pack, unpack
from collector.store.readings import COLUMNS, HOUR_MS, read_marks, set_mark
from collector.store.rollups import roll_up_due

#: Readings packed in one slice of work: some 40 ms on two cores, 100 ms in an hour that 1,000 units share, since each
#: slice scans its hour.
SLICE_ROWS: Final = 10_000

_HERE = "time_ms >= ? AND time_ms < ? AND unit_no BETWEEN ? AND ?"


def pack_hours(conn: sqlite3.Connection, before_ms: int) -> bool:
    """Pack a slice of the oldest hour that ended by before_ms inside the caller's transaction; True if more is left.

    Only hours that have been rolled up are packed, since rollups are made from hot readings; the rest waits.
    """
    marks = read_marks(conn)
    limit = min(before_ms, marks.get("rolled_until", 0)) // HOUR_MS * HOUR_MS
    (first,) = conn.execute("SELECT min(time_ms) FROM reading").fetchone()
    if first is None or first >= limit:
        return False
    if conn.execute("SELECT 1 FROM rollup_due WHERE minute_ms < ? LIMIT 1", (limit,)).fetchone():
        roll_up_due(conn)
        return True
    hour = first // HOUR_MS * HOUR_MS
    _pack_slice(conn, hour)
    set_mark(conn, "packed_until", max(marks.get("packed_until", 0), hour + HOUR_MS))
    (first,) = conn.execute("SELECT min(time_ms) FROM reading").fetchone()
    return first is not None and first < limit


def _pack_slice(conn: sqlite3.Connection, hour: int) -> None:
    count, low, high = conn.execute("SELECT count(*), min(unit_no), max(unit_no) FROM reading WHERE time_ms >= ? "
                                    "AND time_ms < ?", (hour, hour + HOUR_MS)).fetchone()  # fmt: skip
    units = max(1, SLICE_ROWS * (high - low + 1) // count)
    where = (hour, hour + HOUR_MS, low, low + units - 1)
    rows = conn.execute(f"SELECT unit_no, {COLUMNS} FROM reading WHERE {_HERE} ORDER BY unit_no, time_ms", where)  # noqa: S608
    table = np.array(rows.fetchall(), dtype=np.float64)
    starts = np.flatnonzero(np.diff(table[:, 0], prepend=-1.0))
    for part in np.split(table, starts[1:]):
        _store(conn, int(part[0, 0]), hour, Columns.of_table(part[:, 1:]))
    conn.execute(f"DELETE FROM reading WHERE {_HERE}", where)  # noqa: S608


def _store(conn: sqlite3.Connection, unit_no: int, hour: int, fresh: Columns) -> None:
    found = conn.execute("SELECT blob FROM reading_hour WHERE unit_no = ? AND hour_ms = ?", (unit_no, hour)).fetchone()
    # There is none in the ordinary course (readings.py brings a packed hour back before it adds to it).
    whole = fresh if found is None else Columns.joined((unpack(found[0]), fresh))
    conn.execute("INSERT OR REPLACE INTO reading_hour (hour_ms, unit_no, n, blob) VALUES (?, ?, ?, ?)",
                 (hour, unit_no, len(whole), pack(whole)))  # fmt: skip
