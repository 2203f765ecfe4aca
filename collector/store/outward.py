"""What a copy of the store elsewhere is made from: how far the store has come, rollups of a span, late minutes.

Rules of this file: it only reads. Whoever copies goes no further than `rolled_ms`: a reading that comes later for a
time before it is noted in `late_minute`, in the transaction that stores it, so that nothing can slip through between.
"""

from __future__ import annotations

import sqlite3
from typing import Any, Final, Literal

import msgspec

from collector.store.connect import reads, snapshot
from collector.store.readings import read_marks
from collector.store.schema import ROLLED

Table = Literal["rollup_1m", "rollup_1h"]

_NAMES: Final = ", ".join(f"m.{q}_{part}" for q in ROLLED for part in ("n", "sum", "min", "max"))
# The names put into these statements are this package's own constants. CROSS JOIN: as in rollups.py, a look-up a unit.
_ROWS: Final = f"""SELECT m.at_ms, u.unit, m.n, {_NAMES} FROM unit_no AS u CROSS JOIN {{table}} AS m
    ON m.unit_no = u.unit_no AND m.at_ms >= ? AND m.at_ms < ? WHERE ? IN ('', u.unit)
    ORDER BY m.at_ms, u.unit"""  # noqa: S608
_FIRST: Final = """SELECT min(at_ms) FROM (SELECT
    (SELECT min(at_ms) FROM {table} AS m WHERE m.unit_no = u.unit_no AND m.at_ms >= ?) AS at_ms FROM unit_no AS u)"""
_COUNT: Final = """SELECT sum(m.n) FROM unit_no AS u CROSS JOIN rollup_1m AS m
    ON m.unit_no = u.unit_no AND m.at_ms >= ? AND m.at_ms < ?"""
# Up to the first minute whose rollup has not been made again yet.
_LATE: Final = """SELECT l.seq, l.minute_ms, u.unit FROM late_minute AS l JOIN unit_no AS u ON u.unit_no = l.unit_no
    WHERE l.seq > ? AND l.seq < coalesce((SELECT min(w.seq) FROM rollup_due AS d JOIN late_minute AS w
    ON w.minute_ms = d.minute_ms AND w.unit_no = d.unit_no), 9223372036854775807) ORDER BY l.seq LIMIT ?"""


class Heads(msgspec.Struct, frozen=True, kw_only=True):
    """How far the store has come, in ms and row numbers; the _from_ms say what retention has taken already."""

    rolled_ms: int
    packed_ms: int
    raw_from_ms: int
    minutes_from_ms: int
    late_seq: int
    journal_seq: int


class LateMinute(msgspec.Struct, frozen=True):
    """A minute of a unit that readings came for after it was rolled up."""

    seq: int
    minute_ms: int
    unit: str


@reads
def heads(conn: sqlite3.Connection) -> Heads:
    """How far the store has come at this moment."""
    with snapshot(conn):
        marks = read_marks(conn)
        (late,) = conn.execute("SELECT max(seq) FROM late_minute").fetchone()
        (journal,) = conn.execute("SELECT seq FROM journal_head").fetchone()
    return Heads(
        rolled_ms=marks.get("rolled_until", 0),
        packed_ms=marks.get("packed_until", 0),
        raw_from_ms=marks.get("raw_from", 0),
        minutes_from_ms=marks.get("minutes_from", 0),
        late_seq=late or 0,
        journal_seq=journal,
    )


@reads
def journal_hash(conn: sqlite3.Connection, seq: int) -> str:
    """The hash of a journal row, "" when there is none: another one means that the store was put back or replaced."""
    found = conn.execute("SELECT hash FROM journal WHERE seq = ?", (seq,)).fetchone()
    return str(found[0]) if found else ""


@reads
def rollup_rows(
    conn: sqlite3.Connection, table: Table, from_ms: int, to_ms: int, unit: str = ""
) -> list[tuple[Any, ...]]:
    """Rows (at_ms, unit, n, then n, sum, min, max of each of ROLLED) by time and unit; unit "" means all."""
    return conn.execute(_ROWS.format(table=table), (from_ms, to_ms, unit)).fetchall()


@reads
def first_rollup_ms(conn: sqlite3.Connection, table: Table, from_ms: int) -> int | None:
    """The first rollup of any unit from there on."""
    (found,) = conn.execute(_FIRST.format(table=table), (from_ms,)).fetchone()
    return None if found is None else int(found)


@reads
def rolled_count(conn: sqlite3.Connection, from_ms: int, to_ms: int) -> int:
    """How many readings the minutes of a span were made of."""
    return int(conn.execute(_COUNT, (from_ms, to_ms)).fetchone()[0] or 0)


@reads
def late_minutes(conn: sqlite3.Connection, after_seq: int, limit: int) -> list[LateMinute]:
    """Late minutes after that one that are rolled up again, in order, at most limit."""
    return [LateMinute(*row) for row in conn.execute(_LATE, (after_seq, limit))]


@reads
def late_count(conn: sqlite3.Connection, after_seq: int) -> int:
    """How many late minutes come after that one, rolled up again or not."""
    return int(conn.execute("SELECT count(*) FROM late_minute WHERE seq > ?", (after_seq,)).fetchone()[0])
