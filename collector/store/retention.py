"""How long things are kept. The journal, the quarantine's counts and what is known now are kept for ever."""

from __future__ import annotations

import sqlite3
from typing import Final

import msgspec

from collector.store.connect import reads
from collector.store.readings import HOUR_MS, read_marks, set_mark
from collector.store.rollups import roll_up_due

DAY_MS: Final = 24 * HOUR_MS


class Retention(msgspec.Struct, frozen=True, kw_only=True):
    """Days that readings, minute rollups, hour rollups and capacity are kept: this is the one place that says so."""

    raw_days: int = 90
    minute_days: int = 400
    hour_days: int = 3653  # ten years


#: Packed hours (of some 4 kB) and rows that one slice takes away.
SLICE_HOURS: Final = 500
SLICE_ROWS: Final = 10_000

_DROP_HOURS: Final = """DELETE FROM reading_hour WHERE rowid IN
    (SELECT rowid FROM reading_hour WHERE hour_ms < ? ORDER BY hour_ms LIMIT ?)"""
# What was late is worth knowing for as long as the readings themselves are there.
_DROP_LATE: Final = """DELETE FROM late_minute WHERE seq IN
    (SELECT seq FROM late_minute WHERE minute_ms < ? ORDER BY minute_ms LIMIT ?)"""


def retain(conn: sqlite3.Connection, now_ms: int, retention: Retention) -> bool:
    """Take away a slice of what is too old, inside the caller's transaction; True if more is left."""
    marks = read_marks(conn)
    if conn.execute("SELECT 1 FROM rollup_due LIMIT 1").fetchone():
        roll_up_due(conn)
        return True
    raw = _cutoff(conn, marks, "raw_from", now_ms, retention.raw_days)
    minutes = _cutoff(conn, marks, "minutes_from", now_ms, retention.minute_days)
    hours = _cutoff(conn, marks, "hours_from", now_ms, retention.hour_days)
    if conn.execute(_DROP_HOURS, (raw, SLICE_HOURS)).rowcount == SLICE_HOURS:
        return True
    if _drop_hot(conn, raw):
        return True
    if conn.execute(_DROP_LATE, (raw, SLICE_ROWS)).rowcount == SLICE_ROWS:
        return True
    by_unit = (("rollup_1m", "at_ms", minutes), ("rollup_1h", "at_ms", hours), ("capacity_hour", "hour_ms", hours))
    return any(_drop_by_unit(conn, table, column, before_ms) for table, column, before_ms in by_unit)


@reads
def newest_ms(conn: sqlite3.Connection) -> int:
    """The time of the newest reading, or of its hour once that is packed; 0 when there is none."""
    hot = conn.execute("SELECT max(time_ms) FROM reading").fetchone()[0]
    return int(hot or conn.execute("SELECT max(hour_ms) FROM reading_hour").fetchone()[0] or 0)


def _cutoff(conn: sqlite3.Connection, marks: dict[str, int], key: str, now_ms: int, days: int) -> int:
    """Whole hours, and never back: what is gone is gone, and readers choose their source by this mark."""
    # Nothing goes that has not been rolled up.
    cutoff = min(now_ms - days * DAY_MS, marks.get("rolled_until", 0)) // HOUR_MS * HOUR_MS
    if cutoff > marks.get(key, 0):
        set_mark(conn, key, cutoff)
    return max(cutoff, marks.get(key, 0))


def _drop_hot(conn: sqlite3.Connection, before_ms: int) -> bool:
    row = conn.execute("SELECT time_ms FROM reading WHERE time_ms < ? ORDER BY time_ms LIMIT 1 OFFSET ?",
                       (before_ms, SLICE_ROWS)).fetchone()  # fmt: skip
    conn.execute("DELETE FROM reading WHERE time_ms < ?", (before_ms if row is None else row[0] + 1,))
    return row is not None


def _drop_by_unit(conn: sqlite3.Connection, table: str, column: str, before_ms: int) -> bool:
    left = SLICE_ROWS
    for (unit_no,) in conn.execute("SELECT unit_no FROM unit_no").fetchall():
        left -= conn.execute(
            f"DELETE FROM {table} WHERE unit_no = ? AND {column} IN "  # noqa: S608
            f"(SELECT {column} FROM {table} WHERE unit_no = ? AND {column} < ? ORDER BY {column} LIMIT ?)",
            (unit_no, unit_no, before_ms, left),
        ).rowcount
        if left <= 0:
            return True
    return False
