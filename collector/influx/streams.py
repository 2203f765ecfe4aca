"""What is to be copied next, as pieces: lines, and the marks that hold once the server has them.

Rules of this file: it reads the store and nothing else. A piece is small enough to be sent in a few requests; it may
be sent twice. Nothing after `Heads.rolled_ms` is taken (see store/outward.py for why that loses nothing).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final, NamedTuple, Protocol

from collector.influx.lines import MEASUREMENTS, READING, Heads, event_lines, reading_lines, rollup_lines
from collector.store import outward
from collector.store.connect import snapshot
from collector.store.history import journal_after
from collector.store.outward import LateMinute, Table
from collector.store.readings import HOUR_MS, MINUTE_MS
from collector.store.recall import next_hour, readings, within_hour

#: Lines of a request: InfluxData's documented best size of a batch.
BATCH_LINES: Final = 5_000
LATE_MINUTES: Final = 500
JOURNAL_ROWS: Final = 1_000
HOT_MS: Final = 10 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS
#: A journal hash's first digits, as many as an INTEGER of SQLite holds.
_DIGITS: Final = 15

Known = Mapping[str, int]


class Piece(NamedTuple):
    """Lines, and the marks that hold once they are on the server."""

    lines: list[str]
    marks: dict[str, int]


class Stream(Protocol):
    """One kind of thing to be copied, in order."""

    def next(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> Piece | None: ...

    def waiting(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> int: ...


class Readings:
    """Readings by time, an hour or less read at a time; waiting counts minutes of the record."""

    def __init__(self, facility: str) -> None:
        self._heads = Heads(READING, facility)
        self._read: Iterator[Piece] = iter(())

    def next(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> Piece | None:
        """The next piece, None when there is nothing until more is rolled up."""
        if (piece := next(self._read, None)) is not None:
            return piece
        at = marks.get(READING, 0)
        if at >= heads.rolled_ms:
            return None
        hour = next_hour(conn, at)
        if hour is None or hour >= heads.rolled_ms:
            return Piece([], {READING: heads.rolled_ms})
        start = max(at, hour)
        # Packed readings are read by the hour they are packed in; others are rows, of which an hour may be too many.
        span_end = hour + HOUR_MS if hour < heads.packed_ms else (start // HOT_MS + 1) * HOT_MS
        self._read = self._pieces(conn, start, min(heads.rolled_ms, span_end))
        return next(self._read)

    def _pieces(self, conn: sqlite3.Connection, start: int, end: int) -> Iterator[Piece]:
        numbers, names, columns = within_hour(conn, start, end)
        units = [names[number] for number in numbers.tolist()]
        for first, last, until in _batches(columns.time_ms.tolist(), end):
            lines = reading_lines(self._heads, units[first:last], columns.taken(slice(first, last)))
            yield Piece(lines, {READING: until})

    def waiting(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> int:
        """Minutes from the first reading that is not copied."""
        at = marks.get(READING, 0)
        first = next_hour(conn, at) if at < heads.rolled_ms else None
        return 0 if first is None else _steps(max(at, first), heads.rolled_ms, MINUTE_MS)


class Rollups:
    """Rollups of minutes or of hours by time; waiting counts minutes or hours of the record."""

    def __init__(self, facility: str, table: Table) -> None:
        self._table: Table = table
        self._key = MEASUREMENTS[table]
        self._heads = Heads(self._key, facility)
        self._step, self._span = (MINUTE_MS, HOUR_MS) if table == "rollup_1m" else (HOUR_MS, DAY_MS)
        self._read: Iterator[Piece] = iter(())

    def next(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> Piece | None:
        """The next piece, None when there is nothing until more is rolled up."""
        if (piece := next(self._read, None)) is not None:
            return piece
        at, limit = marks.get(self._key, 0), heads.rolled_ms // self._step * self._step
        if at >= limit:
            return None
        first = outward.first_rollup_ms(conn, self._table, at)
        if first is None or first >= limit:
            return Piece([], {self._key: limit})
        end = min(limit, first + self._span)
        self._read = self._pieces(conn, first, end)
        return next(self._read)

    def _pieces(self, conn: sqlite3.Connection, start: int, end: int) -> Iterator[Piece]:
        rows = outward.rollup_rows(conn, self._table, start, end)
        for first, last, until in _batches([row[0] for row in rows], end):
            yield Piece(rollup_lines(self._heads, rows[first:last]), {self._key: until})

    def waiting(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> int:
        """Steps from the first rollup that is not copied."""
        at, limit = marks.get(self._key, 0), heads.rolled_ms // self._step * self._step
        first = outward.first_rollup_ms(conn, self._table, at) if at < limit else None
        return 0 if first is None else _steps(first, limit, self._step)


class Late:
    """What came late: the readings of each such minute again, and the rollups over them; waiting counts minutes."""

    KEY: Final = "late"

    def __init__(self, facility: str) -> None:
        self._readings = Heads(READING, facility)
        self._rollups = {table: Heads(name, facility) for table, name in MEASUREMENTS.items()}

    def next(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> Piece | None:
        """The next piece; None when there is none, or its rollups are not made again yet."""
        after = marks.get(self.KEY, 0)
        if after >= heads.late_seq:
            return None
        with snapshot(conn):
            late = outward.late_minutes(conn, after, LATE_MINUTES)
            lines = [line for unit, hour, of_hour in _by_hour(late) for line in self._hour(conn, unit, hour, of_hour)]
        return Piece(lines, {self.KEY: late[-1].seq}) if late else None

    def _hour(self, conn: sqlite3.Connection, unit: str, hour: int, minutes: list[int]) -> list[str]:
        start, end = min(minutes), max(minutes) + MINUTE_MS
        columns = readings(conn, unit, start, end)
        small = outward.rollup_rows(conn, "rollup_1m", start, end, unit)
        large = outward.rollup_rows(conn, "rollup_1h", hour, hour + HOUR_MS, unit)
        return [
            *reading_lines(self._readings, [unit] * len(columns), columns),
            *rollup_lines(self._rollups["rollup_1m"], small), *rollup_lines(self._rollups["rollup_1h"], large),
        ]  # fmt: skip

    def waiting(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> int:
        """Late minutes that are not copied again."""
        return outward.late_count(conn, marks.get(self.KEY, heads.late_seq))


class Events:
    """What the rules found, by the journal's numbers; waiting counts rows of the journal."""

    KEY: Final = "journal"
    HASH: Final = "journal-hash"

    def __init__(self, facility: str) -> None:
        self._facility = facility

    def next(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> Piece | None:
        """The next piece, None when every row is copied."""
        rows = journal_after(conn, marks.get(self.KEY, 0), JOURNAL_ROWS)
        if not rows:
            return None
        return Piece(event_lines(self._facility, rows), {self.KEY: rows[-1].seq, self.HASH: digits(rows[-1].hash)})

    def waiting(self, conn: sqlite3.Connection, marks: Known, heads: outward.Heads) -> int:
        """Rows that are not copied."""
        return max(0, heads.journal_seq - marks.get(self.KEY, 0))


def digits(journal_hash: str) -> int:
    """The beginning of a journal row's hash as a number; -1 where there is none."""
    return int(journal_hash[:_DIGITS], 16) if journal_hash else -1


def _steps(from_ms: int, to_ms: int, step_ms: int) -> int:
    return max(0, -(-(to_ms - from_ms) // step_ms))


def _batches(times: Sequence[int], end: int) -> Iterator[tuple[int, int, int]]:
    """(first, last, until) of batches of rows in order of time; what has one time is never parted."""
    first = 0
    while True:
        last = min(first + BATCH_LINES, len(times))
        while 0 < last < len(times) and times[last] == times[last - 1]:
            last += 1
        yield first, last, end if last >= len(times) else times[last]
        if last >= len(times):
            return
        first = last


def _by_hour(late: Sequence[LateMinute]) -> Iterator[tuple[str, int, list[int]]]:
    def key(minute: LateMinute) -> tuple[Any, ...]:
        return minute.unit, minute.minute_ms // HOUR_MS * HOUR_MS

    for (unit, hour), minutes in groupby(sorted(late, key=key), key):
        yield unit, hour, [minute.minute_ms for minute in minutes]
