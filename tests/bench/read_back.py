"""Reading back while readings come in: a year of one unit, a month raw, the last day, and what is known of 500 units.

The store is made without the year's wait: one unit's year lies packed and rolled up, the last hours of all units lie
as the collector left them. Beside the reader a process commits 50 readings a second (500 units, one in 10 s each).
Everything that the store keeps for the answer is read and put together; drawing it in a browser is not in it.
Usage: python -m tests.bench.read_back [UNITS [DAYS]]
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np

from collector.reading import QUANTITIES, Reading
from collector.rules.engine import RulesEngine
from collector.site import Site, parse_site
from collector.store import history, open_store
from collector.store.columns import Columns, pack
from collector.store.connect import connect_reader, store_path
from collector.store.readings import HOUR_MS, MINUTE_MS, set_mark
from collector.store.schema import ROLLED
from collector.store.store import Store
from collector.upkeep import PACK_AFTER_MS
from dashboard import board, queries
from tests.bench.collector_rate import site_text
from tests.bench.each_broker import Row, show

FACILITY: Final = "sim-bench-0"
EVERY_MS: Final = 10_000
START_MS: Final = 1_780_000_000_000 // HOUR_MS * HOUR_MS
RUNS: Final = 7
UNIT: Final = "u00000"


def hour_of(rng: np.random.Generator, hour_ms: int) -> Columns:
    """An hour of one unit, in tenths as instruments show them."""
    n = HOUR_MS // EVERY_MS
    means = {"purity_pct": (93, 0.2), "flow_lpm": (4, 0.0), "power_w": (340, 3), "temp_c": (30, 0.5),
             "volts": (230, 1), "pressure_kpa": (140, 2)}  # fmt: skip
    values = [np.round(rng.normal(*means[q], n), 1) for q in QUANTITIES[:-1]]
    hours = np.round((hour_ms - START_MS) / HOUR_MS + np.arange(n) / n, 1)
    columns: list[Any] = [hour_ms + np.arange(n) * EVERY_MS, *values, hours, np.ones(n, np.int8)]
    return Columns(*columns)


def _rolled(columns: Columns, width_ms: int) -> Iterator[tuple[float, ...]]:
    parts = HOUR_MS // width_ms
    shaped = [getattr(columns, q).reshape(parts, -1) for q in ROLLED]
    n = len(columns) // parts
    found = [(np.full(parts, n), part.sum(1), part.min(1), part.max(1)) for part in shaped]
    moments = columns.time_ms[0] + np.arange(parts) * width_ms
    flat = [moments, np.full(parts, n), *(array for four in found for array in four)]
    yield from zip(*(array.tolist() for array in flat), strict=True)


def fill(store: Store, site: Site, days: int, hot_ms: int, start_ms: int = START_MS) -> int:
    """A year of the first unit packed, and the last hours of all of them hot; returns the moment after the last."""
    rng, numbers = np.random.default_rng(1), {u.id: place for place, u in enumerate(site.units, 1)}
    end_ms = start_ms + days * 24 * HOUR_MS
    marks = ", ".join("?" * (3 + 4 * len(ROLLED)))
    with store.transaction():
        store.conn.executemany("INSERT INTO unit_no VALUES (?, ?)", [(no, unit) for unit, no in numbers.items()])
        for hour_ms in range(start_ms, end_ms, HOUR_MS):
            columns, no = hour_of(rng, hour_ms), numbers[UNIT]
            for table, width in (("rollup_1m", MINUTE_MS), ("rollup_1h", HOUR_MS)):
                rows = [(no, *row) for row in _rolled(columns, width)]
                store.conn.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)  # noqa: S608 - our own names
            if hour_ms < end_ms - hot_ms:
                store.conn.execute("INSERT INTO reading_hour (hour_ms, unit_no, n, blob) VALUES (?, ?, ?, ?)",
                                   (hour_ms, no, len(columns), pack(columns)))  # fmt: skip
        set_mark(store.conn, "packed_until", end_ms - hot_ms)
        set_mark(store.conn, "rolled_until", end_ms)
    _hot(store, site, end_ms - hot_ms, end_ms)
    return end_ms


def _hot(store: Store, site: Site, from_ms: int, end_ms: int) -> None:
    engine = RulesEngine(site)
    for at_ms in range(from_ms, end_ms, EVERY_MS):
        batch = [Reading(unit.id, at_ms + place * 7, 93.0, 4.0, 340.0, 30.0, 230.0, 140.0, 1000.0, "green")
                 for place, unit in enumerate(site.units)]  # fmt: skip
        with store.transaction():
            store.add_readings(batch)
    for reading in batch:
        engine.read(reading, end_ms)
    with store.transaction():
        store.save_units(engine.rows(unit.id for unit in site.units))
        store.set_status("site", {"text": site_text(FACILITY, len(site.units))})


def feed(folder: Path, units: int, from_ms: int) -> None:
    """Commit what that many units report, at the pace of one in 10 s each, until stdin closes."""
    with open_store(folder, FACILITY) as store:
        step = 0
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        while True:
            at_ms, step = from_ms + step * 200, step + 1
            with store.transaction():
                store.add_readings([Reading(f"u{n:05d}", at_ms + n, 93.0, 4.0, 340.0) for n in range(units // 50)])
            time.sleep(0.2)


@contextmanager
def fed(folder: Path, units: int, from_ms: int) -> Iterator[None]:
    """Readings come in meanwhile."""
    argv = [sys.executable, "-m", "tests.bench.read_back", "--feed", str(folder), str(units), str(from_ms)]
    with subprocess.Popen(argv, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        try:
            yield
        finally:
            process.kill()


def timed(ask: Callable[[], object]) -> float:
    """Median milliseconds."""
    found = []
    for _ in range(RUNS):
        began = time.perf_counter()
        ask()
        found.append(1e3 * (time.perf_counter() - began))
    return statistics.median(found)


def asked(folder: Path, end_ms: int, days: int) -> list[Row]:
    """Each question with its time and its limit."""
    day = 24 * HOUR_MS

    def month() -> int:
        conn = connect_reader(store_path(folder))
        try:
            return len(history.readings(conn, UNIT, end_ms - min(days, 30) * day, end_ms))
        finally:
            conn.close()

    def summary() -> object:
        now = queries.now(folder)
        found = board.board_of(now, end_ms, queries.wall_ms())
        assert sum(len(block.tiles) for block in found.wards) == len(now.units)
        return found

    questions: list[tuple[str, float, Callable[[], object]]] = [
        ("a year of one unit", 300.0, lambda: queries.unit_past(folder, UNIT, "w0", end_ms - days * day, end_ms)),
        ("a month of one unit, raw", 500.0, month),
        ("the last day of one unit", 300.0, lambda: queries.unit_past(folder, UNIT, "w0", end_ms - day, end_ms)),
        (
            "the last 3 h of one unit",
            300.0,
            lambda: queries.unit_past(folder, UNIT, "w0", end_ms - 3 * HOUR_MS, end_ms),
        ),
        ("the board of the fleet", 200.0, summary),
    ]
    return [{"question": name, "ms": timed(ask), "limit_ms": limit} for name, limit, ask in questions]


def main(units: int = 500, days: int = 365, hot_h: float = PACK_AFTER_MS / HOUR_MS) -> list[Row]:
    """A row a question."""
    site = parse_site(site_text(FACILITY, units))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_store(folder, FACILITY, durable=False) as store:
            # Packing waits for a whole hour, so the last hours lie hot for up to one more.
            end_ms = fill(store, site, days, round((hot_h + 1) * HOUR_MS))
        with fed(folder, units, end_ms):
            return asked(folder, end_ms, days)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--feed"]:
        feed(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    else:
        show(main(*map(int, sys.argv[1:])))
