"""The store as the people's part of the program opens it: one transaction, with its journal rows and its two clocks."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import msgspec

from collector.rules.entries import JournalEntry, JournalRow
from collector.site import SIMULATED_PREFIX, Site, SiteError, parse_site
from collector.store.connect import connect_writer, immediate, reads, store_path
from collector.store.history import facility_id, open_reader
from collector.store.journal import append
from collector.store.present import status
from collector.store.schema import check_schema

#: How long an action waits for the collector's batch to be written before it says that the store is locked.
BUSY_MS: Final = 5_000


class By(msgspec.Struct, frozen=True):
    """Who does something, and from where: "dashboard 10.0.0.7", "command line"."""

    who: str
    role: str
    origin: str


def wall_ms() -> int:
    """This machine's clock."""
    return time.time_ns() // 1_000_000


class Book:
    """An open transaction; `now_ms` is the machine's clock, by which sessions are measured."""

    def __init__(self, conn: sqlite3.Connection, now_ms: int) -> None:
        self.conn, self.now_ms = conn, now_ms

    def facility_ms(self) -> int:
        """The facility's time, which stands in the journal; a demo's clock runs ahead."""
        clock = status(self.conn, "clock")
        if clock is None:
            return self.now_ms
        return int(clock["at_ms"]) + int(max(0, self.now_ms - int(clock["wall_ms"])) * float(clock["speed"]))

    def note(self, kind: str, by: By, body: dict[str, Any], ward: str = "") -> JournalRow:
        """Write down what happened, in this transaction."""
        return self.append(JournalEntry(at_ms=self.facility_ms(), kind=kind, who=by.who, role=by.role,
                                        origin=by.origin, ward=ward, body=body))  # fmt: skip

    def append(self, entry: JournalEntry) -> JournalRow:
        """Write down an entry, in this transaction."""
        return append(self.conn, [entry], self.now_ms)[0]

    def site(self) -> Site | None:
        """The site file as the collector told it; None when it has not, or not a good one."""
        text = str((status(self.conn, "site") or {}).get("text", ""))
        try:
            return parse_site(text) if text else None
        except SiteError:
            return None

    def is_open(self) -> bool:
        """Whether nobody signs in here: a simulated facility without a single account."""
        return is_open(self.conn)


@reads
def is_open(conn: sqlite3.Connection) -> bool:
    """Whether nobody signs in here: a simulated facility without a single account."""
    return facility_id(conn).startswith(SIMULATED_PREFIX) and not has_accounts(conn)


@reads
def has_accounts(conn: sqlite3.Connection) -> bool:
    """Whether there is any account."""
    return conn.execute("SELECT 1 FROM account LIMIT 1").fetchone() is not None


@contextmanager
def writing(data_dir: Path, now_ms: int | None = None) -> Iterator[Book]:
    """One write transaction on the store of a data directory; StoreError, and then nothing of it is stored."""
    path = store_path(data_dir)
    conn = connect_writer(path, busy_ms=BUSY_MS, create=False)
    try:
        check_schema(conn, path)
        with immediate(conn, path):
            yield Book(conn, wall_ms() if now_ms is None else now_ms)
    finally:
        conn.close()


@contextmanager
def reading(data_dir: Path, now_ms: int | None = None) -> Iterator[Book]:
    """The store of a data directory, to read from; StoreError."""
    conn = open_reader(data_dir, busy_ms=500)
    try:
        yield Book(conn, wall_ms() if now_ms is None else now_ms)
    finally:
        conn.close()
