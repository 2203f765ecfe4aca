"""Connections to a store, and the settings each of them needs."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import wraps
from pathlib import Path
from typing import Concatenate, Final, ParamSpec, TypeVar
from urllib.parse import quote

from collector.store.errors import StoreError, store_errors, translate

STORE_NAME: Final = "store.sqlite3"
BUSY_MS: Final = 5_000
#: A file of this name beside the store says that other machines open it too, by a network file system. A WAL needs
#: memory that all share, so such a store has a rollback journal: readers and writer wait for each other.
SHARED_MARK: Final = "opened-by-many-machines"

#: A commit writes whole pages to the WAL. A live batch of one small hospital touches three or four pages with a few
#: dozen bytes each, so larger pages would wear the SD card; 8 KiB made batches of 500 units 5 % quicker (measured).
PAGE_BYTES: Final = 4096
#: 16 MiB of WAL between checkpoints: SQLite's 4 MiB would be one every eighth batch of 500 units.
WAL_PAGES: Final = 4_000
WAL_KEPT_BYTES: Final = 64 * 1024 * 1024  # a reader can hold the WAL open; cut it back to this afterwards
CACHE_KIB: Final = 16 * 1024


def store_path(data_dir: Path) -> Path:
    """Where a facility's store lies."""
    return data_dir / STORE_NAME


def connect_writer(
    path: Path, *, durable: bool = True, busy_ms: int = BUSY_MS, create: bool = True
) -> sqlite3.Connection:
    """Open for writing. Durable means that a commit survives a power cut (an fsync for each), not only a crash."""
    if not create and not path.exists():
        raise _missing(path)
    with store_errors(path):
        conn = sqlite3.connect(_uri(path, "rwc" if create else "rw"), uri=True, timeout=busy_ms / 1000,
                               isolation_level=None, check_same_thread=False)  # fmt: skip
        try:
            conn.execute(f"PRAGMA page_size={PAGE_BYTES}")
            conn.execute(f"PRAGMA journal_mode={'TRUNCATE' if (path.parent / SHARED_MARK).exists() else 'WAL'}")
            conn.execute(f"PRAGMA synchronous={'FULL' if durable else 'NORMAL'}")
            conn.execute(f"PRAGMA wal_autocheckpoint={WAL_PAGES}")
            conn.execute(f"PRAGMA journal_size_limit={WAL_KEPT_BYTES}")
            conn.execute(f"PRAGMA cache_size=-{CACHE_KIB}")
            conn.execute("PRAGMA temp_store=MEMORY")
            conn.execute("PRAGMA recursive_triggers=ON")  # else REPLACE would get past the journal's DELETE guard
        except BaseException:
            conn.close()
            raise
    return conn


def connect_reader(path: Path, *, busy_ms: int = BUSY_MS) -> sqlite3.Connection:
    """Open for reading only; it never creates, never migrates, and may be used by one thread at a time."""
    if not path.exists():
        raise _missing(path)
    with store_errors(path):
        conn = sqlite3.connect(_uri(path, "ro"), uri=True, timeout=busy_ms / 1000, isolation_level=None,
                               check_same_thread=False)  # fmt: skip
        try:
            conn.execute("PRAGMA query_only=ON")
            conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except BaseException:
            conn.close()
            raise
    return conn


def _uri(path: Path, mode: str) -> str:
    return f"file:{quote(str(path.absolute()))}?mode={mode}"


def _missing(path: Path) -> StoreError:
    return StoreError("missing", f"{path} does not exist yet. Start the collector with this data directory first.")


@contextmanager
def snapshot(conn: sqlite3.Connection) -> Iterator[None]:
    """Let several SELECTs see one moment, since upkeep moves readings between tables."""
    nested = conn.in_transaction
    if not nested:
        conn.execute("BEGIN")
    try:
        yield
    finally:
        if not nested:
            conn.execute("ROLLBACK")


@contextmanager
def immediate(conn: sqlite3.Connection, path: Path | str) -> Iterator[None]:
    """One write transaction: all of it is stored, or, on any error, none."""
    try:
        conn.execute("BEGIN IMMEDIATE")
        yield
        conn.execute("COMMIT")
    except sqlite3.Error as error:
        _roll_back(conn)
        raise translate(error, path) from error
    except BaseException:
        _roll_back(conn)
        raise


def _roll_back(conn: sqlite3.Connection) -> None:
    # SQLite has already rolled back after some errors (disk full, I/O); a second one would hide the first error.
    if conn.in_transaction:
        with suppress(sqlite3.Error):
            conn.execute("ROLLBACK")


_P = ParamSpec("_P")
_R = TypeVar("_R")


def reads(
    function: Callable[Concatenate[sqlite3.Connection, _P], _R],
) -> Callable[Concatenate[sqlite3.Connection, _P], _R]:
    """Make a function that reads through a connection raise StoreError instead of SQLite's errors."""

    @wraps(function)
    def wrapped(conn: sqlite3.Connection, /, *args: _P.args, **kwargs: _P.kwargs) -> _R:
        try:
            return function(conn, *args, **kwargs)
        except sqlite3.Error as error:
            raise translate(error, _file_of(conn)) from error

    return wrapped


def _file_of(conn: sqlite3.Connection) -> str:
    try:
        return str(conn.execute("PRAGMA database_list").fetchone()[2])
    except sqlite3.Error:
        return "The store"
