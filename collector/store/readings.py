"""Readings into the hot table: the path that every reading takes.

Rules of this file: nothing per row but one tuple. A unit-hour lies either in `reading` or, packed, in `reading_hour`,
never in both; a reading that comes for a packed hour brings that hour back into `reading` first, so that SQLite's key
sees every duplicate and the rollups are made again from the whole.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from operator import attrgetter
from typing import Any, Final

from collector.reading import Reading
from collector.store.columns import LAMP_CODES, unpack

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000

INSERT: Final = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
COLUMNS: Final = "time_ms, purity_pct, flow_lpm, power_w, temp_c, volts, pressure_kpa, hours_h, lamp"

_time_ms = attrgetter("time_ms")


class UnitNumbers(dict[str, int]):
    """Unit id -> small integer, given out once and for ever; empty it after a rollback."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        super().__init__()
        self._conn = conn

    def __missing__(self, unit: str) -> int:
        self._conn.execute("INSERT OR IGNORE INTO unit_no (unit) VALUES (?)", (unit,))
        (number,) = self._conn.execute("SELECT unit_no FROM unit_no WHERE unit = ?", (unit,)).fetchone()
        self[unit] = number
        return int(number)


def read_marks(conn: sqlite3.Connection) -> dict[str, int]:
    """How far upkeep has come, in ms; a mark that is missing has not been set yet."""
    return dict(conn.execute("SELECT key, ms FROM upkeep").fetchall())


def set_mark(conn: sqlite3.Connection, key: str, ms: int) -> None:
    """Move a mark."""
    conn.execute("INSERT OR REPLACE INTO upkeep VALUES (?, ?)", (key, ms))


def add_readings(conn: sqlite3.Connection, numbers: UnitNumbers, readings: Sequence[Reading]) -> int:
    """Store readings inside the caller's transaction and return how many were new; the stored one of two stays."""
    if not readings:
        return 0
    codes = LAMP_CODES
    rows = [
        (r.time_ms, numbers[r.unit], r.purity_pct, r.flow_lpm, r.power_w, r.temp_c, r.volts, r.pressure_kpa, r.hours_h,
         codes[r.lamp])
        for r in readings
    ]  # fmt: skip
    marks = read_marks(conn)
    if marks and min(map(_time_ms, readings)) < max(marks.values()):
        _make_room_for_late(conn, rows, marks)
    before = conn.total_changes
    conn.executemany(INSERT, rows)
    return conn.total_changes - before


def _make_room_for_late(conn: sqlite3.Connection, rows: list[tuple[Any, ...]], marks: dict[str, int]) -> None:
    rolled, packed = marks.get("rolled_until", 0), marks.get("packed_until", 0)
    due = {(row[0] // MINUTE_MS * MINUTE_MS, row[1]) for row in rows if row[0] < rolled}
    conn.executemany("INSERT OR IGNORE INTO rollup_due VALUES (?, ?)", sorted(due))
    # A new number each time: a copy that was made between two late readings of a minute has only the first of them.
    conn.executemany("INSERT OR REPLACE INTO late_minute (minute_ms, unit_no) VALUES (?, ?)", sorted(due))
    for unit_no, hour_ms in sorted({(row[1], row[0] // HOUR_MS * HOUR_MS) for row in rows if row[0] < packed}):
        unpack_hour(conn, unit_no, hour_ms)


def unpack_hour(conn: sqlite3.Connection, unit_no: int, hour_ms: int) -> None:
    """Bring a packed unit-hour, if there is one, back into the hot table."""
    where = (unit_no, hour_ms)
    found = conn.execute("SELECT blob FROM reading_hour WHERE unit_no = ? AND hour_ms = ?", where).fetchone()
    if found is None:
        return
    conn.executemany(INSERT, [(row[0], unit_no, *row[1:]) for row in unpack(found[0]).rows()])
    conn.execute("DELETE FROM reading_hour WHERE unit_no = ? AND hour_ms = ?", where)
