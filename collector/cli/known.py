"""What is on record, for commands that only read: site, units, journal rows, rollups, and the facility's time."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from collector.cli.check import site_or_refuse
from collector.cli.says import Refused
from collector.clock import ScaledClock, WallClock
from collector.rules.entries import JournalRow
from collector.rules.unitrow import UnitRow
from collector.site import Site, SiteError, parse_site
from collector.store import StoreError
from collector.store.connect import snapshot
from collector.store.history import facility_id, journal_rows, open_reader, status, unit_rows

ALL_ROWS = 2**31


class Known(msgspec.Struct, frozen=True, kw_only=True):
    """An open store and what it knows now; now_ms is the facility's time, which a demo's clock may be ahead in."""

    conn: sqlite3.Connection
    site: Site
    units: dict[str, UnitRow]
    now_ms: int

    def rows(
        self, from_ms: int | None = None, to_ms: int | None = None, kinds: Collection[str] | None = None
    ) -> list[JournalRow]:
        """Journal rows with from_ms <= at_ms < to_ms, in the order in which they were written."""
        return sorted(journal_rows(self.conn, None, from_ms, to_ms, kinds, ALL_ROWS), key=lambda row: row.seq)


@contextmanager
def known(data: Path, site_file: Path | None) -> Iterator[Known]:
    """The store of a data directory, all of one moment; Refused when it cannot be read or is another facility's."""
    try:
        conn = open_reader(data)
    except StoreError as error:
        raise Refused(str(error)) from error
    try:
        with snapshot(conn):
            site = site_or_refuse(site_file) if site_file else _told_site(conn, data)
            if (facility := facility_id(conn)) and facility != site.facility.id:
                raise Refused(
                    f"{data} holds '{facility}', the site file is of '{site.facility.id}'; name the other one"
                )
            units = {row.unit: row for row in unit_rows(conn)}
            yield Known(conn=conn, site=site, units=units, now_ms=facility_now_ms(conn))
    except StoreError as error:
        raise Refused(str(error)) from error
    finally:
        conn.close()


def told_site_path(data: Path) -> Path | None:
    """Where the site file lies that the collector last read, None when it has not told; Refused as `known`."""
    try:
        conn = open_reader(data)
        try:
            path = str((status(conn, "site") or {}).get("path", ""))
        finally:
            conn.close()
    except StoreError as error:
        raise Refused(str(error)) from error
    return Path(path) if path else None


def _told_site(conn: sqlite3.Connection, data: Path) -> Site:
    text = str((status(conn, "site") or {}).get("text", ""))
    if not text:
        raise Refused(f"no collector has told {data} its site file yet; name it with --site SITE.toml")
    try:
        return parse_site(text)
    except SiteError as error:
        raise Refused(f"the site file on record is not good (name one with --site):\n{error}") from error


def facility_now_ms(conn: sqlite3.Connection) -> int:
    """The facility's time, by the clock that the collector keeps."""
    clock = status(conn, "clock")
    if clock is None:
        return WallClock().now_ms()
    return ScaledClock(int(clock["wall_ms"]), int(clock["at_ms"]), float(clock["speed"])).now_ms()
