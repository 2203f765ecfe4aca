"""What can go wrong with the store, in words a person can act on."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, Literal

Kind = Literal[
    "locked",
    "full",
    "read-only",
    "corrupt",
    "io",
    "missing",
    "other-facility",
    "newer-schema",
    "older-schema",
    "refused",
    "fenced",
]

#: Kinds that waiting and trying again will not mend: a person has to do something first.
FATAL: Final[frozenset[Kind]] = frozenset({"corrupt", "other-facility", "newer-schema", "older-schema", "fenced"})


class StoreError(Exception):
    """The store could not do it; nothing of the transaction is stored. `kind` is for programs, the text for people."""

    def __init__(self, kind: Kind, sentence: str) -> None:
        super().__init__(sentence)
        self.kind = kind

    @property
    def fatal(self) -> bool:
        """Whether trying again is pointless until a person has acted."""
        return self.kind in FATAL


#: Primary result codes of SQLite (https://www.sqlite.org/rescode.html) and what they mean here.
_KINDS: Final[dict[int, Kind]] = {
    sqlite3.SQLITE_BUSY: "locked",
    sqlite3.SQLITE_LOCKED: "locked",
    sqlite3.SQLITE_FULL: "full",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_PERM: "read-only",
    sqlite3.SQLITE_CORRUPT: "corrupt",
    sqlite3.SQLITE_NOTADB: "corrupt",
    sqlite3.SQLITE_CONSTRAINT: "refused",
}

_SENTENCES: Final[dict[Kind, str]] = {
    "locked": "{path} is locked by another program ({said}). Close what holds it open for writing (a backup, a "
    "database browser, a second collector); writing goes on by itself after that.",
    "full": "{path} cannot grow: the disk is full ({said}). Free some space there; writing goes on by itself then.",
    "read-only": "{path} cannot be written ({said}). Give this program's user the right to write the file and its "
    "directory, or mount the disk for writing.",
    "corrupt": "{path} is damaged or is no store ({said}). Stop the collector, keep a copy of the file and its -wal, "
    "and restore a backup, or move the file away to begin a new one.",
    "fenced": "{path} is followed by another collector of the group ({said}); that one goes on with it.",
    "refused": "{path} refused the change: {said}. The journal can only be added to.",
    "io": "{path}, or its -wal or -shm beside it, cannot be opened, read or written ({said}). Check the disk, and that "
    "nothing else stands under those names.",
}


def translate(error: sqlite3.Error, path: Path | str) -> StoreError:
    """Turn what SQLite said into a StoreError."""
    code = getattr(error, "sqlite_errorcode", None)
    kind: Kind = "io" if code is None else _KINDS.get(code & 0xFF, "io")
    if kind == "io" and Path(path).exists() and not os.access(Path(path).parent, os.W_OK):
        kind = "read-only"  # SQLite only says "unable to open": a WAL needs files beside the store, even to read it
    return StoreError(kind, _SENTENCES[kind].format(path=path, said=error))


@contextmanager
def store_errors(path: Path | str) -> Iterator[None]:
    """Let errors of SQLite out as StoreError."""
    try:
        yield
    except sqlite3.Error as error:
        raise translate(error, path) from error
