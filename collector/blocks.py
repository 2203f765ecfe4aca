"""Recorded readings in blocks, for those who take some units of them only: of the others just the times are read.

Rules of this file: every reader of the same past gets the same blocks with the same times, whichever units are its own,
so that several of them agree about which reading came when. A batch of a file with anything odd in it is left to
recording.py, row by row; there is no second opinion here about what a good row is.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.reading import LIMITS, QUANTITIES, Reading
from collector.recording import Broken, form_of, parquet_batches, readings_in, recording_errors
from collector.replay import merged, named
from collector.store.columns import Columns, reading_of
from collector.store.history import open_reader
from collector.store.readings import HOUR_MS
from collector.store.recall import next_hour, within_hour

if TYPE_CHECKING:
    import pyarrow as pa
    from pyarrow import RecordBatch

_ROWS: Final = 16_384  # a block: a few MB, and long enough that what is done once a block costs nothing
_LISTED: Final = 4_096


class Past(msgspec.Struct, frozen=True):
    """Where readings are recorded: files, or a store's folder; those with from_ms <= time < to_ms."""

    files: tuple[Path, ...] = ()
    data: Path | None = None
    from_ms: int = 0
    to_ms: int = 2**62


class Block(NamedTuple):
    """Readings in the order of the record; `places` says which of all those of the site's units one's own are."""

    time_ms: NDArray[np.int64]  # of every reading of the site's units
    places: list[int]
    readings: list[Reading]
    unknown: int  # readings of units that the site does not have


class Whose(NamedTuple):
    """Units by id: those of the site, and one's own among them."""

    known: frozenset[str]
    own: frozenset[str]


def blocks(past: Past, whose: Whose, broken: Broken, facility: str) -> Iterator[Block]:
    """A past in blocks; `broken(row_number, reason)` gets each row that is none. RecordingError, StoreError."""
    if past.data is not None:
        with closing(open_reader(past.data)) as conn:
            yield from _of_store(conn, past, whose)
    elif len(past.files) == 1 and form_of(past.files[0]) == "parquet":
        with recording_errors(past.files[0]):
            yield from _of_parquet(past, whose, named(past.files[0], broken))
    else:
        yield from _listed(merged(past.files, broken, facility), past, whose)


def _listed(stream: Iterator[Reading], past: Past, whose: Whose) -> Iterator[Block]:
    inside = (r for r in stream if past.from_ms <= r.time_ms < past.to_ms)
    while part := list(islice(inside, _LISTED)):
        known = [r for r in part if r.unit in whose.known]
        places = [place for place, r in enumerate(known) if r.unit in whose.own]
        times = np.array([r.time_ms for r in known], np.int64)
        yield Block(times, places, [known[place] for place in places], len(part) - len(known))


def _picked(
    time_ms: NDArray[np.int64], known: NDArray[np.bool_], own: NDArray[np.bool_], past: Past,
    made: Callable[[NDArray[np.intp]], list[Reading]],
) -> Block:  # fmt: skip
    """A block from a table's times and whose its rows are; `made` makes readings of the rows that are one's own."""
    inside = (time_ms >= past.from_ms) & (time_ms < past.to_ms)
    counted = inside & known
    rows = np.flatnonzero(counted & own)
    places = np.cumsum(counted)[rows] - 1
    return Block(time_ms[counted], places.tolist(), made(rows), int(np.count_nonzero(inside & ~known)))


def _of_store(conn: sqlite3.Connection, past: Past, whose: Whose) -> Iterator[Block]:
    at = past.from_ms
    while (hour := next_hour(conn, at)) is not None and hour < past.to_ms:
        numbers, names, columns = within_hour(conn, hour, hour + HOUR_MS)
        known = np.isin(numbers, [no for no, unit in names.items() if unit in whose.known])
        own = np.isin(numbers, [no for no, unit in names.items() if unit in whose.own])

        def made(
            rows: NDArray[np.intp], numbers: NDArray[np.int64] = numbers, names: dict[int, str] = names,
            columns: Columns = columns,
        ) -> list[Reading]:  # fmt: skip
            of = [names[no] for no in numbers[rows].tolist()]
            return [reading_of(unit, row) for unit, row in zip(of, columns.taken(rows).rows(), strict=True)]

        yield _picked(columns.time_ms, known, own, past, made)
        at = hour + HOUR_MS


def _of_parquet(past: Past, whose: Whose, broken: Broken) -> Iterator[Block]:
    number = 0
    for batch in parquet_batches(past.files[0], _ROWS):
        if _is_plain(batch):
            yield _of_plain(batch, past, whose)
        else:
            yield from _listed(readings_in(batch, number, broken), past, whose)
        number += batch.num_rows


def _is_plain(batch: RecordBatch) -> bool:
    """Whether every row is good as it is: seen by the column, since most batches are."""
    import pyarrow as pa
    import pyarrow.compute as pc

    columns = {name: batch.column(name) for name in batch.schema.names}
    moment, unit = columns["time"], columns["unit"]
    if not (pa.types.is_timestamp(moment.type) and moment.type.tz and pa.types.is_string(unit.type)):
        return False
    if moment.null_count or unit.null_count or pc.any(pc.equal(unit, "")).as_py():
        return False
    measured = [columns[name] for name in QUANTITIES if name in columns]
    if not any(column.null_count == 0 for column in measured):
        return False
    return all(_is_plausible(column, *LIMITS[name]) for name in QUANTITIES if (column := columns.get(name)) is not None)


def _is_plausible(column: pa.Array, low: float, high: float) -> bool:
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pa.types.is_floating(column.type):
        return bool(pa.types.is_null(column.type))
    if pc.any(pc.is_nan(column)).as_py():
        return False
    found = pc.min_max(column).as_py()
    return found["min"] is None or (found["min"] >= low and found["max"] <= high)


def _of_plain(batch: RecordBatch, past: Past, whose: Whose) -> Block:
    import pyarrow as pa

    moment = batch.column("time")
    time_ms = moment.cast(pa.timestamp("ms", moment.type.tz), safe=False).cast(pa.int64()).to_numpy()
    coded = batch.column("unit").dictionary_encode()
    units = coded.dictionary.to_pylist()
    codes = coded.indices.to_numpy()
    known = np.array([unit in whose.known for unit in units], bool)[codes]
    own = np.array([unit in whose.own for unit in units], bool)[codes]

    def made(rows: NDArray[np.intp]) -> list[Reading]:
        part, absent = batch.take(pa.array(rows)), [None] * len(rows)
        lists = [part.column(q).to_pylist() if q in batch.schema.names else absent for q in QUANTITIES]
        return list(map(Reading, [units[code] for code in codes[rows].tolist()], time_ms[rows].tolist(), *lists))

    return _picked(time_ms, known, own, past, made)
