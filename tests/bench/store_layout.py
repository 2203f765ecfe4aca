"""Three ways to lay out readings in SQLite, measured side by side in one run.

Writing them as they come (a batch from many units, one commit each) and reading a month of one unit back.

Usage: python -m tests.bench.store_layout [--help]. Ratios are to the layout that the store uses; they travel between
machines, rates do not. The reading part skips the rollups, which are the same work whatever the layout.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from collector.reading import Reading
from collector.rules.unitrow import RUNNING, UnitRow
from collector.store import history, open_store
from collector.store.columns import Columns
from collector.store.connect import connect_writer
from collector.store.readings import COLUMNS, HOUR_MS, INSERT, set_mark
from collector.store.store import Store

START = 1_780_000_000_000 // HOUR_MS * HOUR_MS
OURS = "by time, then packed hours"
_COLUMNS = """(time_ms INTEGER NOT NULL, unit_no INTEGER NOT NULL, purity_pct REAL, flow_lpm REAL, power_w REAL,
    temp_c REAL, volts REAL, pressure_kpa REAL, hours_h REAL, lamp INTEGER NOT NULL DEFAULT 0{key}"""
OTHERS = {
    "PRIMARY KEY (unit, time)": [
        f"CREATE TABLE reading {_COLUMNS.format(key=', PRIMARY KEY (unit_no, time_ms)')}) WITHOUT ROWID"
    ],
    "rowid, unique (unit, time)": [
        f"CREATE TABLE reading {_COLUMNS.format(key='')})",
        "CREATE UNIQUE INDEX by_unit ON reading (unit_no, time_ms)",
    ],
}


def made_readings(units: int, count: int, every_ms: int = 10_000) -> Iterator[Reading]:
    """Readings as instruments show them (tenths), all units in turn."""
    rng = random.Random(1)  # noqa: S311 - invented values, no secret
    for place in range(count):
        turn, unit = divmod(place, units)
        yield Reading(f"u{unit:05d}", START + turn * every_ms + unit * 7, round(rng.gauss(93, 0.2), 1), 4.0,
                      round(rng.gauss(340, 3), 1), round(rng.gauss(30, 0.5), 1), round(rng.gauss(230, 1), 1), None,
                      round(1000 + turn / 360, 1), "green")  # fmt: skip


class Other:
    """A store with another layout and the same settings; the work on the way there is the same too."""

    def __init__(self, folder: Path, name: str, durable: bool) -> None:
        self.conn = connect_writer(folder / "other.sqlite3", durable=durable)
        for statement in OTHERS[name]:
            self.conn.execute(statement)

    def write(self, batch: Sequence[Reading]) -> None:
        rows = [
            (r.time_ms, int(r.unit[1:]), r.purity_pct, r.flow_lpm, r.power_w, r.temp_c, r.volts, r.pressure_kpa,
             r.hours_h, 1)
            for r in batch
        ]  # fmt: skip
        self.conn.execute("BEGIN IMMEDIATE")
        self.conn.executemany(INSERT, rows)
        self.conn.execute("COMMIT")

    def read(self, unit: int, from_ms: int, to_ms: int) -> Columns:
        found = self.conn.execute(
            f"SELECT {COLUMNS} FROM reading WHERE unit_no = ? AND time_ms >= ? AND time_ms < ? ORDER BY time_ms",  # noqa: S608
            (unit, from_ms, to_ms),
        )
        return Columns.of_rows(found.fetchall())


class Ours:
    """The real store."""

    def __init__(self, folder: Path, name: str, durable: bool) -> None:
        self.store = open_store(folder, "sim-bench", durable=durable)
        self.conn = self.store.conn

    def write(self, batch: Sequence[Reading]) -> None:
        with self.store.transaction():
            self.store.add_readings(batch)

    def read(self, unit: int, from_ms: int, to_ms: int) -> Columns:
        return history.readings(self.conn, f"u{unit:05d}", from_ms, to_ms)


def opened(name: str, folder: str, durable: bool) -> Any:
    return (Ours if name == OURS else Other)(Path(folder), name, durable)


def write_rate(name: str, readings: Sequence[Reading], batch: int, durable: bool) -> float:
    """Readings stored a second."""
    with tempfile.TemporaryDirectory() as folder:
        layout = opened(name, folder, durable)
        gc.collect()
        began = time.perf_counter()
        for first in range(0, len(readings), batch):
            layout.write(readings[first : first + batch])
        seconds = time.perf_counter() - began
        layout.conn.close()
    return len(readings) / seconds


def full_batch_us(readings: Sequence[Reading], units: int, batch: int, durable: bool) -> float:
    """Microseconds a reading when the rows of its unit go in with it, as the collector does."""
    rows = {
        f"u{unit:05d}": UnitRow(unit=f"u{unit:05d}", phase=RUNNING, last_ms=START, received_ms=START, purity_pct=93.0,
                                flow_lpm=4.0, power_w=340.1, temp_c=30.1, volts=229.9, hours_h=1001.4, observed_h=1.2,
                                phase_since_ms=START, proven_lpm=4.0, proven_ms=START, state=os.urandom(136))
        for unit in range(units)
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder), "sim-bench", durable=durable) as store:
        began = time.perf_counter()
        for first in range(0, len(readings), batch):
            part = readings[first : first + batch]
            with store.transaction():
                store.add_readings(part)
                store.save_units([rows[unit] for unit in {r.unit for r in part}])
        return (time.perf_counter() - began) / len(readings) * 1e6


def used_bytes(conn: sqlite3.Connection) -> int:
    pages, free, size = (
        conn.execute(f"PRAGMA {n}").fetchone()[0] for n in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * size)


def read_ms(layout: Any, unit: int, days: int) -> float:
    """Milliseconds to have all of one unit's readings as columns; the pages are in the machine's cache."""
    times = []
    for _ in range(5):
        began = time.perf_counter()
        found = layout.read(unit, START, START + days * 24 * HOUR_MS)
        times.append(time.perf_counter() - began)
        assert len(found) == days * 24 * 360
    return statistics.median(times) * 1e3


def packed(store: Store, end_ms: int) -> tuple[float, float]:
    """Pack everything; returns readings a second and the longest slice in ms."""
    with store.transaction():
        set_mark(store.conn, "rolled_until", end_ms)
    (count,) = store.conn.execute("SELECT count(*) FROM reading").fetchone()
    slices, more = [], True
    while more:
        began = time.perf_counter()
        more = store.pack(end_ms)
        slices.append(time.perf_counter() - began)
    return count / sum(slices), max(slices) * 1e3


def say(text: str = "") -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def write_part(args: argparse.Namespace) -> None:
    """Every layout in turn, in rounds whose order alternates."""
    readings = list(made_readings(args.units, args.readings))
    names = [OURS, *OTHERS]
    rates: dict[str, list[float]] = {name: [] for name in names}
    full = []
    for turn in range(args.rounds):
        for name in names if turn % 2 == 0 else reversed(names):
            rates[name].append(write_rate(name, readings, args.batch, args.durable))
        full.append(full_batch_us(readings, args.units, args.batch, args.durable))
    base = statistics.median(rates[OURS])
    say(f"write: {args.readings:,} readings of {args.units:,} units, {args.batch} a commit, durable={args.durable}, "
        f"median of {args.rounds} rounds [least-most]")  # fmt: skip
    for name, found in rates.items():
        middle = statistics.median(found)
        say(f"  {name:28} {middle:10,.0f} readings/s  [{min(found):,.0f}-{max(found):,.0f}]  x {middle / base:.2f}")
    say(f"  {'… with the rows of the units':28} {1e6 / statistics.median(full):10,.0f} readings/s, "
        f"{statistics.median(full):.1f} us a reading")  # fmt: skip


def read_part(args: argparse.Namespace) -> None:
    """A month of a few units in each layout."""
    count = args.read_units * args.days * 24 * 360
    end_ms, unit = START + args.days * 24 * HOUR_MS, args.read_units // 2
    lines = []
    with tempfile.TemporaryDirectory() as folder:
        for name in (OURS, *OTHERS):
            layout = opened(name, folder, durable=False)
            batch: list[Reading] = []
            for made in made_readings(args.read_units, count):
                batch.append(made)
                if len(batch) == 5_000:
                    layout.write(batch)
                    batch.clear()
            layout.write(batch)
            if name == OURS:
                lines.append(("… while it is hot", used_bytes(layout.conn) / count, read_ms(layout, unit, args.days)))
                rate, longest = packed(layout.store, end_ms)
                packing = f"  packing: {rate:,.0f} readings/s, longest slice {longest:.0f} ms"
            lines.insert(0 if name == OURS else len(lines),
                         (name, used_bytes(layout.conn) / count, read_ms(layout, unit, args.days)))  # fmt: skip
            layout.conn.close()
            (Path(folder) / "other.sqlite3").unlink(missing_ok=True)
    say(f"read: {args.days} days of one of {args.read_units} units at 10 s ({args.days * 24 * 360:,} readings), "
        "as columns, warm, median of 5")  # fmt: skip
    _, base_bytes, base_ms = lines[0]
    for name, size, ms in lines:
        say(f"  {name:28} {size:6.1f} B/reading  x {size / base_bytes:5.1f}   {ms:8.1f} ms  x {ms / base_ms:5.1f}")
    say(packing)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=1_000, help="units that take turns while writing")
    parser.add_argument("--readings", type=int, default=200_000, help="readings written in each round")
    parser.add_argument("--batch", type=int, default=500, help="readings in a commit")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--no-durable", dest="durable", action="store_false", help="synchronous=NORMAL")
    parser.add_argument("--read-units", type=int, default=4, help="units that share the store that is read")
    parser.add_argument("--days", type=int, default=30, help="days that are read back")
    args = parser.parse_args()
    write_part(args)
    read_part(args)


if __name__ == "__main__":
    main()
