"""Taking a store's copy while it is in use, and proving a copy."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final
from urllib.parse import quote

import msgspec

from collector.safekeeping.errors import KeepingError
from collector.safekeeping.packed import Progress, nothing
from collector.store import StoreError
from collector.store.connect import connect_reader, snapshot
from collector.store.errors import store_errors
from collector.store.journal import verify
from collector.store.schema import applied_migrations

PAGES: Final = 256  # a megabyte at a time
#: Between two of them: the disk is the collector's first. A gigabyte takes 20 s longer by it.
PAUSE_S: Final = 0.02


class Proof(msgspec.Struct, frozen=True, kw_only=True):
    """What a store holds: its facility, its journal's last row, how many units and readings, its migrations."""

    facility: str
    head_seq: int
    head_hash: str
    units: int
    readings: int
    schema: tuple[str, ...]


def take_copy(
    store: Path, target: Path, progress: Progress = nothing, pause: Callable[[float], None] = time.sleep
) -> tuple[int, str]:
    """Copy a store of one moment, page by page; returns its journal's head at that moment. Nobody waits for it.

    The read transaction around it keeps the moment: without it every commit of the collector would make SQLite begin
    the copy anew. Meanwhile the write-ahead log can only grow; it is cut back afterwards (connect.WAL_KEPT_BYTES).
    """

    def step(_status: int, left: int, total: int) -> None:
        progress((total - left) * page_bytes)
        pause(PAUSE_S)

    with closing(connect_reader(store)) as source, snapshot(source), store_errors(store):
        (page_bytes,) = source.execute("PRAGMA page_size").fetchone()
        head: tuple[int, str] = source.execute("SELECT seq, hash FROM journal_head").fetchone()
        with closing(sqlite3.connect(target, isolation_level=None)) as copy:
            copy.execute("PRAGMA synchronous=OFF")  # half a copy is thrown away; the packed one is brought to the disk
            source.backup(copy, pages=PAGES, progress=step)
    return head


def prove(store: Path, head: tuple[int, str] | None = None) -> Proof:
    """Check a store's pages and its journal's chain; KeepingError with what is wrong. Nothing else may have it open.

    head is the journal's last row as it was noted when the copy was made.
    """
    try:
        # immutable: without it SQLite would put a -wal and a -shm beside the copy.
        with store_errors(store), closing(sqlite3.connect(_as_it_lies(store), uri=True)) as conn:
            return _proven(conn, head)
    except StoreError as error:
        raise KeepingError(f"the copy is damaged: {error}") from error


def _proven(conn: sqlite3.Connection, head: tuple[int, str] | None) -> Proof:
    # Both indexes and rows: quick_check leaves out whether an index has an entry for each row.
    said = [text for (text,) in conn.execute("PRAGMA integrity_check(5)")]
    if said != ["ok"]:
        raise KeepingError(f"the store's pages are damaged: {'; '.join(said)}")
    chain = verify(conn, head)
    if not chain.ok:
        where = "" if chain.broken_seq is None else f" at row {chain.broken_seq}"
        raise KeepingError(f"the journal is broken{where}: {chain.reason}")
    if head is not None and (chain.head_seq, chain.head_hash) != head:
        raise KeepingError(f"the journal ends at row {chain.head_seq}, not at row {head[0]} as noted")
    (facility,) = conn.execute("SELECT value FROM meta WHERE key = 'facility'").fetchone() or ("",)
    (units,) = conn.execute("SELECT count(*) FROM unit_no").fetchone()
    (hot,) = conn.execute("SELECT count(*) FROM reading").fetchone()
    (packed,) = conn.execute("SELECT coalesce(sum(n), 0) FROM reading_hour").fetchone()
    return Proof(facility=facility, head_seq=chain.head_seq, head_hash=chain.head_hash, units=units,
                 readings=hot + packed, schema=applied_migrations(conn))  # fmt: skip


def _as_it_lies(path: Path) -> str:
    return f"file:{quote(str(path.absolute()))}?immutable=1"
