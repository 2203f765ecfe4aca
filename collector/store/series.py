"""A unit's quantities over any span as a chart wants them: at most so many points, no extreme lost, gaps left open."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from collector.store.columns import Columns, Floats, Ints
from collector.store.connect import reads, snapshot
from collector.store.readings import HOUR_MS, MINUTE_MS, read_marks
from collector.store.recall import readings
from collector.store.schema import ROLLED

Source = Literal["raw", "minutes", "hours"]

#: Bucket widths are multiples of this many ms, and buckets begin at multiples of their width, so that a chart that is
#: drawn again a second later keeps its buckets.
_GRAIN_MS: Final[dict[Source, int]] = {"raw": 1_000, "minutes": MINUTE_MS, "hours": HOUR_MS}

#: The mark that says what retention has taken of a source.
_KEPT_FROM: Final[dict[Source, str]] = {"raw": "raw_from", "minutes": "minutes_from", "hours": "hours_from"}

_NAMES: Final = ", ".join(f"{q}_{part}" for q in ROLLED for part in ("n", "sum", "min", "max"))
_ROLLUPS: Final = f"""SELECT at_ms, n, {_NAMES} FROM {{table}} WHERE at_ms >= ? AND at_ms < ?
    AND unit_no = (SELECT unit_no FROM unit_no WHERE unit = ?) ORDER BY at_ms"""  # noqa: S608


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """One quantity per bucket; NaN where it was not measured."""

    mean: Floats
    min: Floats
    max: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Buckets that hold at least one reading, oldest first: a gap in the readings is a gap in time_ms.

    time_ms is where a bucket begins and bucket_ms how long it is; bucket_ms 0 means that each point is one reading.
    n counts readings. bands: purity_pct, flow_lpm, power_w, temp_c, volts.
    """

    source: Source
    bucket_ms: int
    time_ms: Ints
    n: Ints
    bands: dict[str, Band]

    def __len__(self) -> int:
        return len(self.time_ms)


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Rows that can be put together: when, how many readings, and per quantity a 4-row array of n, sum, min, max."""

    time_ms: Ints
    n: Ints
    parts: dict[str, Floats]


@reads
def series(conn: sqlite3.Connection, unit: str, from_ms: int, to_ms: int, max_points: int = 1500) -> Series:
    """Mean, least and greatest of each quantity over from_ms <= time < to_ms in at most max_points (2 or more) buckets.

    Comes from readings while a bucket is shorter than a minute, else from minute or hour rollups, with what is not
    rolled up yet added from the readings; from the next coarser source where retention has taken the finer one. From
    rollups, the minute or hour that from_ms falls into is counted whole.
    """
    points, span = max(2, max_points), max(1, to_ms - from_ms)
    with snapshot(conn):
        marks = read_marks(conn)
        source = _source(span // points, from_ms, marks)
        rows = _gather(conn, unit, from_ms, to_ms, source, marks.get("rolled_until", 0))
    return drawn(rows, source, from_ms, to_ms, max_points)


def drawn(rows: Sums, source: Source, from_ms: int, to_ms: int, max_points: int) -> Series:
    """Rows of one source, wherever they were read, in at most max_points buckets."""
    if source == "raw" and len(rows.time_ms) <= max(2, max_points):
        return _finished(source, 0, rows)
    width = bucket_ms(source, from_ms, to_ms, max_points)
    return _finished(source, width, _bucketed(rows, width))


def bucket_ms(source: Source, from_ms: int, to_ms: int, max_points: int) -> int:
    """How long a bucket is."""
    span, grain = max(1, to_ms - from_ms), _GRAIN_MS[source]
    return -(-span // ((max(2, max_points) - 1) * grain)) * grain


def wanted_source(from_ms: int, to_ms: int, max_points: int) -> Source:
    """What a series would come from if nothing were ever taken away."""
    return _source(max(1, to_ms - from_ms) // max(2, max_points), from_ms, {})


@reads
def kept_from_ms(conn: sqlite3.Connection, source: Source) -> int:
    """From when on the store holds a source."""
    return read_marks(conn).get(_KEPT_FROM[source], 0)


@reads
def kept(conn: sqlite3.Connection, unit: str, from_ms: int, to_ms: int, source: Source) -> Sums:
    """What the store holds of a source, and of finer ones where it is not rolled up yet."""
    with snapshot(conn):
        return _gather(conn, unit, from_ms, to_ms, source, read_marks(conn).get("rolled_until", 0))


def _source(width_ms: int, from_ms: int, marks: dict[str, int]) -> Source:
    if width_ms < MINUTE_MS and from_ms >= marks.get("raw_from", 0):
        return "raw"
    return "minutes" if width_ms < HOUR_MS and from_ms >= marks.get("minutes_from", 0) else "hours"


def _gather(conn: sqlite3.Connection, unit: str, from_ms: int, to_ms: int, source: Source, rolled: int) -> Sums:
    """Rollups as far as they go, then finer ones, then readings."""
    parts, at = [], from_ms
    if source == "hours":
        parts.append(
            _rollups(conn, "rollup_1h", unit, at // HOUR_MS * HOUR_MS, min(to_ms, rolled // HOUR_MS * HOUR_MS))
        )
        at = max(at, rolled // HOUR_MS * HOUR_MS)
    if source != "raw":
        parts.append(_rollups(conn, "rollup_1m", unit, at // MINUTE_MS * MINUTE_MS, min(to_ms, rolled)))
        at = max(at, rolled)
    parts.append(sums_of_readings(readings(conn, unit, at, to_ms)))
    return joined(parts)


def joined(parts: Sequence[Sums]) -> Sums:
    """Parts, the older first, one after the other."""
    return Sums(
        np.concatenate([part.time_ms for part in parts]),
        np.concatenate([part.n for part in parts]),
        {q: np.concatenate([part.parts[q] for part in parts], axis=1) for q in ROLLED},
    )


def _rollups(conn: sqlite3.Connection, table: str, unit: str, from_ms: int, to_ms: int) -> Sums:
    rows = conn.execute(_ROLLUPS.format(table=table), (from_ms, to_ms, unit))
    return sums_of_rows(rows.fetchall())


def sums_of_rows(rows: Sequence[Sequence[float | None]]) -> Sums:
    """From rows of (time_ms, n, then n, sum, min, max of each of ROLLED)."""
    table_of = np.array(rows, np.float64).reshape(-1, 2 + 4 * len(ROLLED)).T
    parts = {q: table_of[2 + 4 * place : 6 + 4 * place] for place, q in enumerate(ROLLED)}
    return Sums(table_of[0].astype(np.int64), table_of[1].astype(np.int64), parts)


def sums_of_readings(columns: Columns) -> Sums:
    """Each reading for itself."""
    parts = {}
    for q in ROLLED:
        values: Floats = getattr(columns, q)
        here = ~np.isnan(values)
        parts[q] = np.array([here, np.where(here, values, 0.0), values, values])
    return Sums(columns.time_ms, np.ones(len(columns), np.int64), parts)


def _bucketed(rows: Sums, width: int) -> Sums:
    buckets = rows.time_ms // width * width
    starts: NDArray[Any] = np.flatnonzero(np.diff(buckets, prepend=-1))
    if not len(starts):
        return rows
    parts = {q: _folded(part, starts) for q, part in rows.parts.items()}
    return Sums(buckets[starts], np.add.reduceat(rows.n, starts), parts)


def _folded(part: Floats, starts: NDArray[Any]) -> Floats:
    n, total, low, high = part
    return np.array([
        np.add.reduceat(n, starts), np.add.reduceat(np.nan_to_num(total), starts),
        np.fmin.reduceat(low, starts), np.fmax.reduceat(high, starts),
    ])  # fmt: skip


def _finished(source: Source, width: int, rows: Sums) -> Series:
    bands = {}
    with np.errstate(invalid="ignore", divide="ignore"):
        for q, (n, total, low, high) in rows.parts.items():
            bands[q] = Band(np.where(n > 0, total / n, np.nan), low, high)
    return Series(source, width, rows.time_ms, rows.n, bands)
