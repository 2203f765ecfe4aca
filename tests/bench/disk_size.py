"""What a reading takes on disk: bytes kept in each table, bytes written on the way, and a year of 100 units on a card.

Kept: one unit's weeks as the collector leaves them (packed hours, minute and hour rollups), by the pages of each table.
Written: hours of 100 units through rules and store with rollups and packing, in commits as small as those of so light a
load, counted by the kernel (`write_bytes`). The year is what retention leaves of it. Values wander by tenths as
instruments show them. Usage: python -m tests.bench.disk_size [UNITS [HOURS]]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Final

import numpy as np

from collector.followed import Followed
from collector.intake.pause import CALM_S
from collector.reading import Reading
from collector.site import parse_site
from collector.store import open_store
from collector.store.readings import HOUR_MS
from collector.store.retention import Retention
from collector.store.store import Store
from tests.bench.collector_rate import site_text
from tests.bench.each_broker import Row, show
from tests.bench.fleet_load import written_bytes
from tests.bench.read_back import EVERY_MS, FACILITY, START_MS, fill, hour_of

CARD_BYTES: Final = 32e9
COMMIT_MS: Final = round(1000 * CALM_S)  # what so light a load gathers for
PER_DAY: Final = 24 * HOUR_MS / EVERY_MS
#: Rows a unit and day that retention counts in days of its own.
_TABLES: Final = {"reading_hour": "raw_days", "rollup_1m": "minute_days", "rollup_1h": "hour_days"}


def kept_bytes(store: Store, table: str) -> int:
    """Bytes of all pages of a table and its indexes."""
    names = [name for (name,) in store.conn.execute("SELECT name FROM sqlite_master WHERE tbl_name = ?", (table,))]
    marks = ", ".join("?" * len(names))
    (size,) = store.conn.execute(f"SELECT sum(pgsize) FROM dbstat WHERE name IN ({marks})", names).fetchone()  # noqa: S608
    return int(size or 0)


def kept(days: int) -> dict[str, float]:
    """Bytes a reading in each table, of one unit's days."""
    site = parse_site(site_text(FACILITY, 1))
    with tempfile.TemporaryDirectory() as name, open_store(Path(name), FACILITY, durable=False) as store:
        fill(store, site, days, hot_ms=HOUR_MS)
        return {table: kept_bytes(store, table) / (days * PER_DAY) for table in _TABLES}


def through(units: int, hours: float) -> float:
    """Bytes written to the device for each reading."""
    site = parse_site(site_text(FACILITY, units))
    rng = np.random.default_rng(2)
    with tempfile.TemporaryDirectory() as name, open_store(Path(name), FACILITY, durable=False) as store:
        followed, count = Followed(site, store), 0
        before = written_bytes()
        for hour in range(round(hours)):
            hour_ms = START_MS + hour * HOUR_MS
            made = [hour_of(rng, hour_ms).readings(unit.id) for unit in site.units]
            for step in range(HOUR_MS // COMMIT_MS):
                count += _commit(store, followed, made, step)
            _keep(store, hour_ms + HOUR_MS)
        return (written_bytes() - before) / count


def _commit(store: Store, followed: Followed, made: list[list[Reading]], step: int) -> int:
    """What comes within one pause: a share of the units, each with its next reading."""
    row, slot = divmod(step * COMMIT_MS, EVERY_MS)
    share = len(made) * COMMIT_MS / EVERY_MS
    first, last = round(slot / COMMIT_MS * share), round((slot / COMMIT_MS + 1) * share)
    batch = [made[place][row] for place in range(first, last)]
    for reading in batch:
        followed.engine.read(reading, reading.time_ms)
    with store.transaction():
        store.add_readings(batch)
        followed.save_units()
        if step % 2 == 0:  # once a second, as long as a collector's is
            store.set_status("collector", {"at_ms": step, "text": "x" * 900})
    followed.engine.clear_touched()
    if step % 10 == 0 and batch:
        while store.roll_up(batch[0].time_ms - 15_000):
            pass
    return len(batch)


def _keep(store: Store, now_ms: int) -> None:
    while store.pack(now_ms - HOUR_MS):
        pass


def main(units: int = 100, hours: float = 2.0, days: int = 60) -> list[Row]:
    """Bytes kept by table, bytes written, and a year of that many units."""
    keep, found = Retention(), kept(days)
    year = {table: min(365, getattr(keep, key)) * PER_DAY * units * found[table] for table, key in _TABLES.items()}
    written = through(units, hours)
    rows: list[Row] = [
        {"table": table, "bytes_per_reading": found[table], "year_gb": year[table] / 1e9} for table in year
    ]
    a_day = PER_DAY * units * written / 1e9
    return [*rows, {"table": "all", "bytes_per_reading": sum(found.values()), "year_gb": sum(year.values()) / 1e9,
                    "ratio": sum(year.values()) / CARD_BYTES},
            {"table": "written to the device", "bytes_per_reading": written, "gb_a_day": a_day}]  # fmt: skip


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
