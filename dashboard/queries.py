"""What the screens read, as typed rows; the only place that opens the store for reading.

Rules of this file: no Streamlit; every question has an end (a range and a limit); StoreError says in plain words what
is wrong. A connection is opened for each question, so a store that is made, moved or replaced meanwhile is found.
"""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import msgspec

from collector import backup_watch
from collector.backup.known import Known
from collector.clock import Clock, ScaledClock, WallClock
from collector.deliver.loop import STATUS as CARRIED
from collector.influx.longer import long_series
from collector.influx.readback import Readback
from collector.influx.target import Target, target_of
from collector.notify.waytest import DOCUMENT as TEST
from collector.notify.waytest import RESULT_DOCUMENT as TRIED
from collector.notify.waytest import WayTest, way_test_in
from collector.people.book import is_open
from collector.rules import entries
from collector.rules.alarms import Alarm, urgency
from collector.rules.capacity.now import CapacityPoint
from collector.rules.entries import CONDITION, JournalRow
from collector.rules.unitrow import UnitRow
from collector.safekeeping.told import DOCUMENT as SAFE_COPY
from collector.site import Model, Site, SiteError, parse_site
from collector.siteedit.wanted import DOCUMENT as WAITING
from collector.store import Quarantined, history, open_reader
from collector.store.connect import snapshot, store_path
from collector.store.history import Extent, Series

#: A screen that waits longer than this for a locked store had better say so.
BUSY_MS: Final = 500
JOURNAL_ROWS: Final = 500
EVENT_ROWS: Final = 400
QUARANTINE_ROWS: Final = 200
#: What people did to units, parts and cylinders: some rows a unit and month, and the folds need them all.
SERVICE_KINDS: Final = (
    entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE, entries.TASK_DONE, entries.WORK_OPENED, entries.WORK_CLOSED,
    entries.PURITY_PROOF, entries.CYLINDER_READ, entries.PART_MOVED, entries.VISIT,
)  # fmt: skip
SERVICE_ROWS: Final = 1_000_000
#: The status document of a demo's story.
STORY: Final = "story"


class CollectorNow(msgspec.Struct, frozen=True, kw_only=True):
    """How the collector said it was: at_ms in facility time, wall_ms on the machine's clock."""

    at_ms: int
    wall_ms: int | None = None
    pid: int = 0
    started_ms: int | None = None
    broker: str = ""
    broker_state: str = ""
    broker_said: str = ""
    caught_up: bool = True
    store_state: str = "good"
    store_said: str = ""
    readings: int = 0
    messages: int = 0
    quarantined: int = 0
    duplicates: int = 0
    late: int = 0
    flooded: int = 0
    flooding: tuple[dict[str, Any], ...] = ()
    troubles: tuple[str, ...] = ()
    rate_per_s: float = 0.0
    batch: int = 0


class Now(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is known now; `site` is None when the collector has not told it (or not a good one).

    open_to_all: nobody signs in, and people say themselves who they are (a simulated facility without accounts).
    """

    facility: str
    site: Site | None
    clock: Clock
    units: dict[str, UnitRow]
    alarms: tuple[Alarm, ...]
    collector: CollectorNow | None
    out_of_service: frozenset[str]
    bridges: dict[str, dict[str, Any]] = {}
    backup: Known = msgspec.field(default_factory=Known)
    open_to_all: bool = False
    way_test: WayTest | None = None
    carried: dict[str, Any] = {}  # how what is carried outwards stands, as `deliver` says
    way_tried: dict[str, Any] = {}  # when the alarm's way was last tried, and what came of it
    changes_waiting: dict[str, Any] = {}  # changes of the site file that the collector has not answered, by journal row
    story: dict[str, Any] = {}  # the story that a demo plays, as simulator/telling.py writes it

    @property
    def simulated(self) -> bool:
        """Whether a simulator made these data."""
        return self.facility.startswith("sim-")

    @property
    def zone(self) -> ZoneInfo:
        """The facility's time zone."""
        return ZoneInfo(self.site.facility.timezone if self.site else "UTC")

    def model_of(self, unit: str) -> Model:
        """A unit's model; the defaults where the site file does not say."""
        return self.site.model_of(unit) if self.site and self.site.unit(unit) else Model(id="default")

    def speaking(self) -> list[Alarm]:
        """Alarms that people should see now, worst and oldest first."""
        return sorted((a for a in self.alarms if a.speaks), key=urgency)


class UnitPast(msgspec.Struct, frozen=True, kw_only=True):
    """A unit over a span: its quantities, and journal rows of its alarms and of its ward's, newest first."""

    from_ms: int
    to_ms: int
    series: Series
    events: list[JournalRow]
    far: bool = False  # whether a part was read from the InfluxDB that the site file names
    far_said: str = ""  # why it was not, although the store no longer holds it


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """What the data page shows; sizes in bytes, None when they cannot be seen."""

    extent: Extent
    wal_bytes: int
    disk_free_bytes: int | None
    quarantined: dict[str, int]
    quarantine: list[Quarantined]
    safe_copy: dict[str, Any] = {}
    way_tried: dict[str, Any] = {}
    carried: dict[str, Any] = {}


def wall_ms() -> int:
    """This machine's clock."""
    return time.time_ns() // 1_000_000


@contextmanager
def reader(data_dir: Path) -> Iterator[sqlite3.Connection]:
    """The store, to read from; closed at the end."""
    conn = open_reader(data_dir, busy_ms=BUSY_MS)
    try:
        yield conn
    finally:
        conn.close()


def now(data_dir: Path) -> Now:
    """What is known now, all of one moment."""
    with reader(data_dir) as conn, snapshot(conn):
        facility = history.facility_id(conn)
        units, alarms = history.unit_rows(conn), history.alarm_rows(conn)
        documents, open_to_all = history.statuses(conn, ""), is_open(conn)
    site = _site(str(documents.get("site", {}).get("text", "")))
    removed = {unit.id for unit in site.units if unit.in_service is False} if site else set()
    removed |= set(documents.get("out_of_service", {}).get("units", ()))
    told = documents.get("collector")
    return Now(
        facility=facility, site=site, clock=_clock(documents.get("clock")), units={row.unit: row for row in units},
        alarms=tuple(alarms), collector=msgspec.convert(told, CollectorNow) if told else None,
        out_of_service=frozenset(removed),
        bridges={key.partition(":")[2]: body for key, body in documents.items() if key.startswith("bridge:")},
        backup=_backup(documents.get(backup_watch.DOCUMENT)), way_test=way_test_in(documents.get(TEST)),
        open_to_all=open_to_all, carried=documents.get(CARRIED, {}),
        way_tried=documents.get(TRIED, {}), changes_waiting=documents.get(WAITING, {}), story=documents.get(STORY, {}),
    )  # fmt: skip


def _backup(document: dict[str, Any] | None) -> Known:
    try:
        return msgspec.convert(document, Known) if document else Known()
    except msgspec.ValidationError:
        return Known()


@lru_cache(maxsize=4)
def _site(text: str) -> Site | None:
    try:
        return parse_site(text) if text else None
    except SiteError:
        return None


def _clock(document: dict[str, Any] | None) -> Clock:
    if document is None:
        return WallClock()
    return ScaledClock(int(document["wall_ms"]), int(document["at_ms"]), float(document["speed"]))


def unit_past(
    data_dir: Path, unit: str, ward: str, from_ms: int, to_ms: int, points: int = 900, *, before_ms: int = 0,
    kinds: Collection[str] = (),
) -> UnitPast:  # fmt: skip
    """A unit's quantities in at most `points` buckets, and what was raised and cleared meanwhile, or before_ms before.

    `kinds` are further kinds of rows about the unit.
    """
    with reader(data_dir) as conn:
        found = long_series(conn, _far(conn), unit, from_ms, to_ms, points)
        own = history.journal_rows(conn, unit, from_ms - before_ms, to_ms, (CONDITION,), EVENT_ROWS)
        shared = history.journal_rows(conn, "", from_ms - before_ms, to_ms, (CONDITION, *kinds), EVENT_ROWS)
        done = history.journal_rows(conn, unit, from_ms, to_ms, kinds, EVENT_ROWS) if kinds else []
    events = [*own, *done, *(row for row in shared if row.ward == ward)]
    events.sort(key=lambda row: (-row.at_ms, -row.seq))
    return UnitPast(from_ms=from_ms, to_ms=to_ms, series=found.series, events=events, far=found.far,
                    far_said=found.said)  # fmt: skip


def _far(conn: sqlite3.Connection) -> Readback | None:
    """The InfluxDB of the site file that the collector last read, None when it names none."""
    told = history.status(conn, "site") or {}
    site = _site(str(told.get("text", "")))
    path = str(told.get("path", ""))
    target = target_of(site, Path(path) if path else None) if site else None
    return _readback(target) if target else None


@lru_cache(maxsize=4)
def _readback(target: Target) -> Readback:
    return Readback(target)


def unit_capacity(data_dir: Path, unit: str, from_ms: int, to_ms: int, points: int = 400) -> list[CapacityPoint]:
    """A unit's capacity by the hour, in at most `points` buckets."""
    with reader(data_dir) as conn:
        return history.capacity_points(conn, unit, from_ms, to_ms, points)


def journal(
    data_dir: Path, unit: str | None = None, kinds: Collection[str] | None = None, from_ms: int | None = None,
    limit: int = JOURNAL_ROWS,
) -> list[JournalRow]:  # fmt: skip
    """Journal rows, newest first."""
    with reader(data_dir) as conn:
        return history.journal_rows(conn, unit, from_ms, None, kinds, min(limit, JOURNAL_ROWS))


def service_rows(data_dir: Path, unit: str | None = None, kinds: Collection[str] = SERVICE_KINDS) -> list[JournalRow]:
    """What people did, in the order in which it was written down: what the folds of `collector.service` read."""
    with reader(data_dir) as conn:
        rows = history.journal_rows(conn, unit, None, None, kinds, SERVICE_ROWS)
    return sorted(rows, key=lambda row: row.seq)


def health(data_dir: Path) -> Health:
    """How much there is, what was put aside, and what room is left."""
    with reader(data_dir) as conn:
        extent = history.extent(conn)
        counts, rows = history.quarantine_counts(conn), history.quarantine_rows(conn, QUARANTINE_ROWS)
        safe_copy, carried, tried = (history.status(conn, name) or {} for name in (SAFE_COPY, CARRIED, TRIED))
    wal = store_path(data_dir).with_name(store_path(data_dir).name + "-wal")
    return Health(
        extent=extent, wal_bytes=wal.stat().st_size if wal.exists() else 0, disk_free_bytes=_free(data_dir),
        quarantined=counts, quarantine=rows, safe_copy=safe_copy, carried=carried,
        way_tried=tried,
    )  # fmt: skip


def _free(path: Path) -> int | None:
    try:
        return shutil.disk_usage(path).free
    except OSError:
        return None
