"""A unit's past from here and from afar, as one series."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from typing import Final, NamedTuple

from collector.influx.readback import FarError, Readback
from collector.reading import Reading
from collector.store.recall import iter_readings
from collector.store.series import Series, bucket_ms, drawn, joined, kept, kept_from_ms, series, wanted_source

#: A copy that has less than this share of what the store's own rollups count is not shown as the whole.
WHOLE: Final = 0.99


class Longer(NamedTuple):
    """A series; `far`: whether a part is from afar; `said`: why it is not, "" when nothing is missing."""

    series: Series
    far: bool = False
    said: str = ""


def long_series(
    conn: sqlite3.Connection, far: Readback | None, unit: str, from_ms: int, to_ms: int, max_points: int = 1500
) -> Longer:
    """As `store.series`, with the part that retention has taken from here read from afar; StoreError.

    When that fails, or the copy is not whole, it is what the store here still holds, by the hour perhaps.
    """
    near = series(conn, unit, from_ms, to_ms, max_points)
    source = wanted_source(from_ms, to_ms, max_points)
    cut_ms = min(to_ms, kept_from_ms(conn, source))
    if far is None or from_ms >= cut_ms:
        return Longer(near)
    try:
        old = far.sums(unit, from_ms, cut_ms, source, bucket_ms(source, from_ms, to_ms, max_points))
    except FarError as error:
        return Longer(near, said=str(error))
    whole = (near.time_ms >= from_ms) & (near.time_ms + near.bucket_ms <= cut_ms)
    wanted, found = int(near.n[whole].sum()), int(old.n.sum())
    if found < WHOLE * wanted:
        return Longer(near, said=f"the InfluxDB holds {found} of {wanted} readings of this span")
    rows = joined([old, kept(conn, unit, cut_ms, to_ms, source)])
    return Longer(drawn(rows, source, from_ms, to_ms, max_points), far=found > 0)


def long_readings(
    conn: sqlite3.Connection, far: Readback, from_ms: int, to_ms: int, units: Collection[str] | None = None
) -> Iterator[Reading]:
    """As `store.iter_readings`, what retention has taken from here first, read from afar; StoreError, FarError."""
    cut_ms = min(to_ms, max(from_ms, kept_from_ms(conn, "raw")))
    yield from far.readings(from_ms, cut_ms, units)
    yield from iter_readings(conn, cut_ms, to_ms, units)
