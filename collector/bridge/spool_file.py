"""The spool's file: readings on disk in the order in which they came, bounded, each with a check of its bytes.

Rules of this file: a change is one transaction, on disk when it returns (SQLite's WAL with synchronous=FULL); when it
fails, nothing has changed. When there is no room, the oldest go first, in the transaction that needs the room, and are
counted there. A row whose bytes have changed on the disk is never given out: it is counted as dropped.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

import msgspec

from collector.reading import EARLIEST_MS, Reading

PAGE_BYTES: Final = 4096
WAL_PAGES: Final = 256
#: Of the limit, kept for the write-ahead log and its index: it is cut back to WAL_PAGES, and one change adds few more.
WAL_ROOM_BYTES: Final = 4 * 1024 * 1024
SMALLEST_BYTES: Final = 8 * 1024 * 1024
TRIM: Final = 256  # at the least so many go at once, so that not every change has to make room

_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS waiting (id INTEGER PRIMARY KEY, dated INTEGER NOT NULL, crc INTEGER NOT NULL, body BLOB);
CREATE INDEX IF NOT EXISTS undated ON waiting (id) WHERE dated = 0;
CREATE TABLE IF NOT EXISTS told (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
"""
_Values = tuple[str, int, float | None, float | None, float | None, float | None, float | None, float | None,
                float | None, str | None]  # fmt: skip
_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(_Values).decode

_DAMAGED: Final = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_WORDS: Final = {
    sqlite3.SQLITE_FULL: "the disk is full; free some space there",
    sqlite3.SQLITE_READONLY: "it cannot be written; mount the disk for writing, or give the bridge's user the right",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check the disk, and the right of the bridge's user to write there",
    sqlite3.SQLITE_BUSY: "another program holds it; is a second bridge running with the same spool?",
}

Row = tuple[int, Reading]


class SpoolError(Exception):
    """The disk did not do it and nothing changed; `damaged`: this file never will again."""

    def __init__(self, path: Path, error: sqlite3.Error) -> None:
        code = (getattr(error, "sqlite_errorcode", None) or 0) & 0xFF
        self.damaged = code in _DAMAGED
        said = "it is damaged" if self.damaged else _WORDS.get(code, "check the disk")
        super().__init__(f"{path}: {said} ({error})")


class SpoolFile:
    """One file of waiting readings; `waiting` and `dropped` are as of the last change."""

    def __init__(self, path: Path, limit_bytes: int, boot: str = "") -> None:
        """Open or make it. boot names the machine's start that undated times count from. SpoolError."""
        self.path = path
        self._pages = max(limit_bytes, SMALLEST_BYTES) // PAGE_BYTES - WAL_ROOM_BYTES // PAGE_BYTES
        with self._errors():
            self._conn = sqlite3.connect(path, timeout=1.0, isolation_level=None)
        try:
            with self._errors():
                self._prepare()
            self._begin(boot)
        except SpoolError:
            self.close()
            raise

    def _prepare(self) -> None:
        run = self._conn.execute
        run(f"PRAGMA page_size={PAGE_BYTES}")
        run("PRAGMA locking_mode=EXCLUSIVE")  # two bridges with one spool would each send what the other keeps
        run("PRAGMA journal_mode=WAL")
        run("PRAGMA synchronous=FULL")
        run(f"PRAGMA wal_autocheckpoint={WAL_PAGES}")
        run(f"PRAGMA journal_size_limit={WAL_PAGES * PAGE_BYTES}")
        if (found := run("PRAGMA quick_check(1)").fetchone()[0]) != "ok":
            error = sqlite3.DatabaseError(found)
            error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
            raise error
        self._conn.executescript(_SCHEMA)

    def _begin(self, boot: str) -> None:
        """Count what is there. Times that count from an earlier start of the machine can never be told any more."""
        with self._errors():
            told = dict(self._conn.execute("SELECT name, value FROM told"))
            self.waiting = int(self._one("SELECT count(*) FROM waiting"))
            self.last_id = int(self._one("SELECT coalesce(max(id), 0) FROM waiting"))
            undated = int(self._one("SELECT count(*) FROM waiting WHERE dated = 0"))
        self.dropped = int(told.get("dropped", 0))
        self.undatable = undated if told.get("boot", "") != boot else 0
        with self._change():
            self._conn.execute("INSERT OR REPLACE INTO told VALUES ('boot', ?)", [boot])
            if self.undatable:
                self._conn.execute("DELETE FROM waiting WHERE dated = 0")
                self._count(-undated, undated)

    def _one(self, query: str) -> int:
        return int(self._conn.execute(query).fetchone()[0])

    # -- changes ---------------------------------------------------------------------------------------------------

    def change(
        self, new: Sequence[Row], done: Collection[int], on_their_way: Collection[int] = (), dropped: int = 0
    ) -> None:
        """Put what is new and forget what is done; the oldest go when there is no room. SpoolError.

        What is dropped while on its way is not counted: it is with the broker, most likely. `dropped` were lost
        elsewhere, and are counted here.
        """
        with self._change():
            before = self._conn.total_changes
            self._conn.executemany("DELETE FROM waiting WHERE id = ?", [(one,) for one in done])
            gone = self._conn.total_changes - before
            self._conn.executemany("INSERT INTO waiting VALUES (?, ?, ?, ?)", map(_packed, new))
            self._count(len(new) - gone, dropped)
            self._trim(on_their_way)
        if new:
            self.last_id = max(self.last_id, new[-1][0])

    def _trim(self, on_their_way: Collection[int]) -> None:
        while self.used_pages > self._pages and self.waiting:
            many = max(TRIM, self.waiting // 100)
            oldest = [row[0] for row in self._conn.execute("SELECT id FROM waiting ORDER BY id LIMIT ?", [many])]
            self._conn.execute("DELETE FROM waiting WHERE id <= ?", [oldest[-1]])
            self._count(-len(oldest), sum(one not in on_their_way for one in oldest))

    @property
    def undated(self) -> int:
        """How many times count from the machine's start. SpoolError."""
        with self._errors():
            return self._one("SELECT count(*) FROM waiting WHERE dated = 0")

    @property
    def used_pages(self) -> int:
        """Pages of the file that hold something."""
        return self._one("PRAGMA page_count") - self._one("PRAGMA freelist_count")

    def date(self, offset_ms: int) -> int:
        """Add offset_ms to the times that count from the machine's start; returns how many there were. SpoolError."""
        with self._change():
            rows = list(self._read("dated = 0 ORDER BY id"))
            for _, reading in rows:
                reading.time_ms += offset_ms
            packed = [(dated, crc, body, one) for one, dated, crc, body in map(_packed, rows)]
            self._conn.executemany("UPDATE waiting SET dated = ?, crc = ?, body = ? WHERE id = ?", packed)
        return len(rows)

    def _count(self, waiting: int, dropped: int) -> None:
        self.waiting += waiting
        self.dropped += dropped
        if dropped:
            self._conn.execute("INSERT OR REPLACE INTO told VALUES ('dropped', ?)", [self.dropped])

    # -- reading ---------------------------------------------------------------------------------------------------

    def read(self, after: int, many: int) -> list[Row]:
        """The oldest dated rows behind an id. SpoolError; damaged rows are dropped and counted."""
        with self._errors():
            return list(self._read("id > ? AND dated = 1 ORDER BY id LIMIT ?", after, many))

    def oldest_ms(self) -> int | None:
        """When the oldest dated reading was taken."""
        rows = self.read(0, 1)
        return rows[0][1].time_ms if rows else None

    def _read(self, where: str, *values: int) -> Iterator[Row]:
        query = f"SELECT id, crc, body FROM waiting WHERE {where}"  # noqa: S608 - our own words
        bad = []
        for one, crc, body in self._conn.execute(query, values).fetchall():
            try:
                if zlib.crc32(body) != crc:
                    raise msgspec.DecodeError
                yield one, Reading(*_decode(body))
            except (msgspec.DecodeError, TypeError):
                bad.append(one)
        if bad:
            self._drop(bad)

    def _drop(self, bad: Iterable[int]) -> None:
        rows = [(one,) for one in bad]
        if self._conn.in_transaction:
            self._conn.executemany("DELETE FROM waiting WHERE id = ?", rows)
            self._count(-len(rows), len(rows))
        else:
            with self._change():
                self._drop(row[0] for row in rows)

    def close(self) -> None:
        """Let go of the file; SQLite folds the log into it."""
        with suppress(sqlite3.Error):
            self._conn.close()

    # -- errors ----------------------------------------------------------------------------------------------------

    @contextmanager
    def _errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise SpoolError(self.path, error) from error

    @contextmanager
    def _change(self) -> Iterator[None]:
        before = self.waiting, self.dropped
        with self._errors():
            try:
                self._conn.execute("BEGIN IMMEDIATE")
                yield
                self._conn.execute("COMMIT")
            except BaseException:
                self.waiting, self.dropped = before
                if self._conn.in_transaction:
                    with suppress(sqlite3.Error):
                        self._conn.execute("ROLLBACK")
                raise


def _packed(row: Row) -> tuple[int, bool, int, bytes]:
    body = _encode(msgspec.structs.astuple(row[1]))
    return row[0], row[1].time_ms >= EARLIEST_MS, zlib.crc32(body), body
