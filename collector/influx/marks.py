"""How far the copy has come, kept in a file of its own: the store's writer never waits for it.

The file may be lost at any time: everything is then copied again, and each point overwrites itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from collector.store.connect import connect_writer, immediate
from collector.store.errors import store_errors

MARKS_NAME: Final = "influx.sqlite3"
_MAKE: Final = """CREATE TABLE IF NOT EXISTS mark (target TEXT NOT NULL, name TEXT NOT NULL, at INTEGER NOT NULL,
    PRIMARY KEY (target, name)) WITHOUT ROWID"""


class Marks(dict[str, int]):
    """The marks of one target, read once; StoreError when the file cannot be read or written."""

    def __init__(self, data_dir: Path, target: str) -> None:
        self._path, self._target = data_dir / MARKS_NAME, target
        # A power cut may lose the last marks: that costs sending a batch again.
        self._conn = connect_writer(self._path, durable=False)
        with store_errors(self._path):
            self._conn.execute(_MAKE)
            found = self._conn.execute("SELECT name, at FROM mark WHERE target = ?", (target,)).fetchall()
        super().__init__(found)

    def keep(self, marks: Mapping[str, int]) -> None:
        """Move marks, all of them or none."""
        if not marks:
            return
        with immediate(self._conn, self._path):
            self._conn.executemany(
                "INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", [(self._target, *item) for item in marks.items()]
            )
        self.update(marks)

    def forget(self) -> None:
        """Begin anew."""
        with immediate(self._conn, self._path):
            self._conn.execute("DELETE FROM mark WHERE target = ?", (self._target,))
        self.clear()

    def close(self) -> None:
        """Close the file."""
        self._conn.close()
