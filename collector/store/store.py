"""The collector's store: everything that belongs together goes in in one transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from collector.reading import Reading
from collector.rules.alarms import Alarm
from collector.rules.capacity.now import CapacityPoint
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.unitrow import UnitRow
from collector.store import (
    capacity,
    history,
    journal,
    packing,
    present,
    quarantine,
    readings,
    retention,
    rollups,
    schema,
)
from collector.store.connect import BUSY_MS, connect_reader, connect_writer, immediate, store_path
from collector.store.errors import StoreError
from collector.store.retention import Retention


def open_store(
    data_dir: Path, facility_id: str, *, read_only: bool = False, durable: bool = True, busy_ms: int = BUSY_MS
) -> Store:
    """Open a facility's store, creating it and bringing its schema up to date unless read_only.

    StoreError: locked, full, read-only, corrupt, io, another facility's, of a newer version; when read_only also
    missing or of an older version. durable=False trades the last commits at a power cut (never at a crash) for speed.
    """
    path = store_path(data_dir)
    if read_only:
        conn = connect_reader(path, busy_ms=busy_ms)
    else:
        _make_directory(data_dir)
        conn = connect_writer(path, durable=durable, busy_ms=busy_ms)
    try:
        if read_only:
            schema.check_schema(conn, path)
            schema.check_facility(conn, path, facility_id)
        else:
            schema.migrate(conn, path)
            schema.claim(conn, path, facility_id)
    except BaseException:
        conn.close()
        raise
    return Store(conn, path)


def _make_directory(data_dir: Path) -> None:
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(
            "io", f"{data_dir} cannot be made a directory ({error.strerror}). Name another one."
        ) from error


class Store:
    """One thread's store. Writing happens inside `transaction()`; upkeep makes short transactions of its own."""

    def __init__(self, conn: sqlite3.Connection, path: Path, retention_days: Retention | None = None) -> None:
        self.conn, self.path = conn, path
        self.retention = retention_days or Retention()
        self._numbers = readings.UnitNumbers(conn)
        #: Asked first in every transaction; in a group it raises when another collector has the store (group/fence.py).
        self.guard: Callable[[sqlite3.Connection], None] | None = None

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: on any error nothing of it is stored, and errors of SQLite come out as StoreError."""
        try:
            with immediate(self.conn, self.path):
                if self.guard is not None:
                    self.guard(self.conn)
                yield
        except BaseException:
            self._numbers.clear()  # numbers given out in it are gone with it
            raise

    def add_readings(self, batch: Sequence[Reading]) -> int:
        """Store readings and return how many were new: one with the unit and time of a stored one is ignored."""
        return readings.add_readings(self._writing(), self._numbers, batch)

    def save_units(self, rows: Iterable[UnitRow]) -> None:
        """Keep what is known of units now."""
        present.save_units(self._writing(), self._numbers, rows)

    def add_capacity(self, points: Iterable[CapacityPoint]) -> None:
        """Keep what was known of capacity at the end of hours."""
        capacity.add_points(self._writing(), self._numbers, points)

    def save_estimates(self, estimates: Iterable[tuple[str, bytes]]) -> None:
        """Keep the capacity estimates of units as they are now."""
        capacity.save_estimates(self._writing(), self._numbers, estimates)

    def append_journal(self, entries: Sequence[JournalEntry], recorded_ms: int) -> list[JournalRow]:
        """Add to the journal; recorded_ms is the wall clock's."""
        return journal.append(self._writing(), entries, recorded_ms) if entries else []

    def save_alarms(self, alarms: Iterable[Alarm]) -> None:
        """Keep alarms as they stand."""
        present.save_alarms(self._writing(), alarms)

    def quarantine(self, items: Iterable[quarantine.Quarantined], unkept: Mapping[str, int] | None = None) -> None:
        """Keep and count what could not be read; unkept is counted only, by kind of reason."""
        quarantine.add(self._writing(), items, unkept)

    def set_status(self, key: str, document: dict[str, Any]) -> None:
        """Keep a named document."""
        present.set_status(self._writing(), key, document)

    def load_units(self) -> list[UnitRow]:
        """What is known of every unit."""
        return present.unit_rows(self.conn)

    def load_estimates(self) -> list[tuple[str, bytes]]:
        """The capacity estimate of every unit that has one."""
        return capacity.estimates(self.conn)

    def load_alarms(self) -> list[Alarm]:
        """Every alarm as it stands."""
        return present.alarm_rows(self.conn)

    def journal_after(self, seq: int, limit: int = 1_000) -> list[JournalRow]:
        """Journal rows after that one, oldest first, at most limit."""
        return history.journal_after(self.conn, seq, limit)

    def status(self, key: str) -> dict[str, Any] | None:
        """A named document, or None."""
        return present.status(self.conn, key)

    def statuses(self, prefix: str) -> dict[str, dict[str, Any]]:
        """Every named document whose name begins so, by name."""
        return present.statuses(self.conn, prefix)

    def quarantine_counts(self) -> dict[str, int]:
        """How many were ever put aside, by kind of reason."""
        return quarantine.quarantine_counts(self.conn)

    def roll_up(self, until_ms: int) -> bool:
        """Do a slice of the rollups of every minute that ended by until_ms; True if more is left."""
        with self.transaction():
            return rollups.roll_up(self.conn, until_ms)

    def pack(self, before_ms: int) -> bool:
        """Pack a slice of the hours that ended by before_ms and are rolled up; True if more is left."""
        with self.transaction():
            return packing.pack_hours(self.conn, before_ms)

    def newest_ms(self) -> int:
        """The time of the newest reading, or of its hour; 0 when there is none."""
        return retention.newest_ms(self.conn)

    def retain(self, now_ms: int) -> bool:
        """Take away a slice of what is too old (see retention.Retention); True if more is left."""
        with self.transaction():
            return retention.retain(self.conn, now_ms, self.retention)

    def close(self) -> None:
        """Close; what was committed stays."""
        self.conn.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _writing(self) -> sqlite3.Connection:
        if not self.conn.in_transaction:
            raise RuntimeError("write to the store inside `with store.transaction():`")
        return self.conn
