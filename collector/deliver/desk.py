"""What the deliver process reads and writes of the store for all its carriers: the clock, and how they stand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from collector.deliver.clock import FollowingClock
from collector.deliver.loop import STATUS
from collector.store.connect import connect_writer, immediate, store_path
from collector.store.present import set_status, status
from collector.store.schema import check_schema


class Desk:
    """The store's status documents `clock` (read) and `deliver` (written); StoreError when the store cannot be used."""

    def __init__(self, data: Path, clock: FollowingClock) -> None:
        self._path, self._clock = store_path(data), clock
        self._conn = connect_writer(self._path, create=False)
        try:
            check_schema(self._conn, self._path)
            clock.follow(status(self._conn, "clock"))
        except BaseException:
            self._conn.close()
            raise

    def tell(self, document: dict[str, Any]) -> None:
        """Follow the clock, and keep how the carriers stand."""
        self._clock.follow(status(self._conn, "clock"))
        with immediate(self._conn, self._path):
            set_status(self._conn, STATUS, {"at_ms": self._clock.now_ms(), **document})

    def close(self) -> None:
        """Close the store."""
        self._conn.close()
