"""Rollups of a minute and of an hour, made from the hot readings when a minute is complete.

Rules of this file: a rollup is always made anew from all that lies under it, never added to, so making it twice is
harmless. Where retention has already taken what lies under it, an existing rollup stays as it is.
"""

from __future__ import annotations

import sqlite3
from typing import Final

from collector.store.readings import HOUR_MS, MINUTE_MS, read_marks, set_mark
from collector.store.schema import ROLLED

#: Readings in one slice of work: some 50 ms on two cores; 200 ms where 1,000 units end an hour.
SLICE_ROWS: Final = 20_000
#: Late minutes made again in one slice.
SLICE_MINUTES: Final = 100

_NAMES = ", ".join(f"{q}_{part}" for q in ROLLED for part in ("n", "sum", "min", "max"))
_FROM_RAW = ", ".join(f"count({q}), sum({q}), min({q}), max({q})" for q in ROLLED)
_FROM_MINUTES = ", ".join(f"sum({q}_n), sum({q}_sum), min({q}_min), max({q}_max)" for q in ROLLED)

# The names and numbers put into these statements are this package's own constants.
_MINUTES = f"""INSERT OR REPLACE INTO rollup_1m (unit_no, at_ms, n, {_NAMES})
    SELECT unit_no, time_ms / {MINUTE_MS} * {MINUTE_MS} AS minute_ms, count(*), {_FROM_RAW}
    FROM reading WHERE time_ms >= ? AND time_ms < ? GROUP BY unit_no, minute_ms"""  # noqa: S608
_DUE_MINUTE = f"""INSERT OR {{clash}} INTO rollup_1m (unit_no, at_ms, n, {_NAMES})
    SELECT unit_no, :minute, count(*), {_FROM_RAW} FROM reading WHERE time_ms >= :minute AND time_ms < :end
    AND unit_no IN (SELECT unit_no FROM rollup_due WHERE minute_ms = :minute) GROUP BY unit_no"""  # noqa: S608
# CROSS JOIN makes SQLite go through the units and look up each one's range, instead of scanning every minute there is.
_HOURS = f"""INSERT OR REPLACE INTO rollup_1h (unit_no, at_ms, n, {_NAMES})
    SELECT m.unit_no, m.at_ms / {HOUR_MS} * {HOUR_MS} AS hour_ms, sum(n), {_FROM_MINUTES}
    FROM unit_no AS u CROSS JOIN rollup_1m AS m ON m.unit_no = u.unit_no AND m.at_ms >= ? AND m.at_ms < ?
    GROUP BY m.unit_no, hour_ms"""  # noqa: S608
_ONE_HOUR = f"""INSERT OR {{clash}} INTO rollup_1h (unit_no, at_ms, n, {_NAMES})
    SELECT unit_no, :hour, sum(n), {_FROM_MINUTES} FROM rollup_1m
    WHERE unit_no = :unit_no AND at_ms >= :hour AND at_ms < :end GROUP BY unit_no"""  # noqa: S608

_DUE_HOURS = f"""SELECT DISTINCT minute_ms / {HOUR_MS} * {HOUR_MS} AS hour_ms, unit_no FROM rollup_due
    WHERE minute_ms <= ? AND minute_ms < ?"""  # noqa: S608
_NTH = "SELECT time_ms FROM reading WHERE time_ms >= ? AND time_ms < ? ORDER BY time_ms LIMIT 1 OFFSET ?"


def roll_up(conn: sqlite3.Connection, until_ms: int) -> bool:
    """Do a slice of every minute that ended by until_ms, inside the caller's transaction; True if more is left."""
    more = roll_up_due(conn)
    until = until_ms // MINUTE_MS * MINUTE_MS
    start = read_marks(conn).get("rolled_until")
    if start is None:
        (first,) = conn.execute("SELECT min(time_ms) FROM reading").fetchone()
        if first is None:
            return more
        start = first // MINUTE_MS * MINUTE_MS
    if start >= until:
        return more
    end = _end_of_slice(conn, start, until)
    conn.execute(_MINUTES, (start, end))
    if end // HOUR_MS > start // HOUR_MS:
        conn.execute(_HOURS, (start // HOUR_MS * HOUR_MS, end // HOUR_MS * HOUR_MS))
    set_mark(conn, "rolled_until", end)
    return more or end < until


def _end_of_slice(conn: sqlite3.Connection, start: int, until: int) -> int:
    row = conn.execute(_NTH, (start, until, SLICE_ROWS)).fetchone()
    return until if row is None else min(until, max(row[0] // MINUTE_MS, start // MINUTE_MS + 1) * MINUTE_MS)


def roll_up_due(conn: sqlite3.Connection) -> bool:
    """Make a slice of the late minutes again, and the hours over them; True if some are left."""
    minutes = conn.execute("SELECT DISTINCT minute_ms FROM rollup_due ORDER BY minute_ms LIMIT ?", (SLICE_MINUTES,))
    minutes_ms = [minute for (minute,) in minutes]
    if not minutes_ms:
        return False
    marks = read_marks(conn)
    for minute in minutes_ms:
        clash = "IGNORE" if minute < marks.get("raw_from", 0) else "REPLACE"
        conn.execute(_DUE_MINUTE.format(clash=clash), {"minute": minute, "end": minute + MINUTE_MS})
    _roll_up_due_hours(conn, minutes_ms[-1], marks)
    conn.execute("DELETE FROM rollup_due WHERE minute_ms <= ?", (minutes_ms[-1],))
    return conn.execute("SELECT 1 FROM rollup_due LIMIT 1").fetchone() is not None


def _roll_up_due_hours(conn: sqlite3.Connection, last_minute: int, marks: dict[str, int]) -> None:
    rolled = marks["rolled_until"] // HOUR_MS * HOUR_MS
    hours = conn.execute(_DUE_HOURS, (last_minute, rolled)).fetchall()
    for hour, unit_no in hours:
        clash = "IGNORE" if hour < marks.get("minutes_from", 0) else "REPLACE"
        conn.execute(_ONE_HOUR.format(clash=clash), {"hour": hour, "end": hour + HOUR_MS, "unit_no": unit_no})
