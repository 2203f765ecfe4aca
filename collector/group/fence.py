"""The store knows who may write it: each of a group's transactions first compares its epoch with the stored one.

Rules of this file: a claim and every write are transactions of the same SQLite file, which are one after the other. So
after a claim no transaction of an earlier owner is stored any more, however long it slept, and what it had stored
before is what the new owner begins with.
"""

from __future__ import annotations

import sqlite3
from typing import Final

from collector.store import Store, StoreError

KEY: Final = "group_epoch"


class Fenced(StoreError):
    """Somebody with a newer epoch has the store; `seen` is that epoch."""

    def __init__(self, path: object, mine: int, seen: int) -> None:
        super().__init__(
            "fenced", f"{path} is followed by another collector since epoch {seen}; this one was given it at epoch "
            f"{mine} and has lost it. Nothing is to be done: the other goes on with it.",
        )  # fmt: skip
        self.seen = seen


def seen_epoch(conn: sqlite3.Connection) -> int:
    """The epoch of whoever claimed the store last; 0 for a store that never was in a group."""
    row = conn.execute("SELECT value FROM meta WHERE key = ?", (KEY,)).fetchone()
    return int(row[0]) if row else 0


def claim(store: Store, epoch: int) -> None:
    """Take the store at an epoch: from now on it can be written at that epoch only. Fenced when it has a newer one."""

    def guard(conn: sqlite3.Connection) -> None:
        if (seen := seen_epoch(conn)) != epoch:
            raise Fenced(store.path, epoch, seen)

    with store.transaction():
        if (seen := seen_epoch(store.conn)) > epoch:
            raise Fenced(store.path, epoch, seen)
        store.conn.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (KEY, str(epoch)))
    store.guard = guard
