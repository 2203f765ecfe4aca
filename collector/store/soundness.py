"""Looks for damage in the store's pages, beside whoever works with it.

SQLite reads a page's structure only when it needs the page: damage in an old hour would be met by whoever asks for that
hour, a year later, when no copy of before is left. So all of it is read once a day.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

from collector.store.connect import connect_reader
from collector.store.errors import StoreError, translate

STEPS: Final = 20_000  # of SQLite's machine between rests: some milliseconds of work
REST_S: Final = 0.02  # so that a small computer has most of its time for the collector
_SAID_MAX: Final = 300


def damage_in(path: Path, *, rest: Callable[[], bool] | None = None) -> str:
    """What is damaged, as SQLite says it, "" when nothing is; a table at a time, so that no reader holds the WAL long.

    rest is called now and then and ends the work by returning True: then "" says nothing. StoreError when the store
    cannot be opened at all. What it cannot see: a value that changed within its row's bounds.
    """
    with closing(connect_reader(path)) as conn:
        conn.set_progress_handler(rest, STEPS)
        name = "the list of tables"
        try:
            names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            for name in names:
                found = conn.execute(f"PRAGMA quick_check({_quoted(name)})").fetchall()
                if found != [("ok",)]:
                    return f"{name}: {found[0][0]}"[:_SAID_MAX]
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_INTERRUPT:
                return ""
            fault = translate(error, path)
            if fault.kind != "corrupt":
                raise fault from error
            return f"{name}: {error}"[:_SAID_MAX]
    return ""


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


class SoundnessCheck:
    """One look at the store in a thread of its own, with rests; `result` is None until it is done."""

    def __init__(self, path: Path) -> None:
        self.result: str | None = None
        self.failed: StoreError | None = None
        self._path, self._stop = path, threading.Event()
        self._thread = threading.Thread(target=self._run, name="soundness", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            found = damage_in(self._path, rest=self._rest)
        except StoreError as error:
            self.failed, found = error, ""
        self.result = found

    def _rest(self) -> bool:
        return self._stop.wait(REST_S)

    @property
    def done(self) -> bool:
        """Whether it has ended."""
        return not self._thread.is_alive()

    def close(self) -> None:
        """End it without a result worth having."""
        self._stop.set()
        self._thread.join(5.0)
