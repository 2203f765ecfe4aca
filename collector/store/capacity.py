"""Capacity on record: a point a unit and hour, and the estimator's own memory of each unit, opaque to others."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import Final

from collector.rules.capacity.now import CapacityPoint
from collector.store.connect import reads
from collector.store.readings import HOUR_MS, UnitNumbers

# A bucket that was seen at any hour is made of those hours alone: the others say only what was believed before.
_POINTS: Final = """SELECT hour_ms / :width * :width AS at_ms,
    coalesce(min(p05_lpm) FILTER (WHERE seen), min(p05_lpm)), coalesce(avg(p50_lpm) FILTER (WHERE seen), avg(p50_lpm)),
    coalesce(max(p95_lpm) FILTER (WHERE seen), max(p95_lpm)), max(seen), max(proven_lpm)
    FROM capacity_hour WHERE unit_no = (SELECT unit_no FROM unit_no WHERE unit = :unit)
    AND hour_ms >= :from_ms AND hour_ms < :to_ms GROUP BY at_ms ORDER BY at_ms"""


def add_points(conn: sqlite3.Connection, numbers: UnitNumbers, points: Iterable[CapacityPoint]) -> None:
    """Keep points; one of a unit and hour that is there already is replaced: the later one knew more."""
    conn.executemany(
        "INSERT OR REPLACE INTO capacity_hour VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(numbers[p.unit], p.hour_ms, p.p05_lpm, p.p50_lpm, p.p95_lpm, p.seen, p.proven_lpm) for p in points],
    )


def save_estimates(conn: sqlite3.Connection, numbers: UnitNumbers, estimates: Iterable[tuple[str, bytes]]) -> None:
    """Put each unit's estimate in the place of the one before."""
    conn.executemany(
        "INSERT OR REPLACE INTO estimate VALUES (?, ?)", [(numbers[unit], body) for unit, body in estimates]
    )


@reads
def estimates(conn: sqlite3.Connection) -> list[tuple[str, bytes]]:
    """Every unit's estimate, by unit id."""
    return list(conn.execute("SELECT unit, body FROM estimate JOIN unit_no USING (unit_no) ORDER BY unit"))


@reads
def capacity_points(
    conn: sqlite3.Connection, unit: str, from_ms: int, to_ms: int, max_points: int = 1500
) -> list[CapacityPoint]:
    """One unit's capacity with from_ms <= hour < to_ms, oldest first, in at most max_points (2 or more) buckets.

    A bucket of several hours holds the least p05, the mean p50, the greatest p95 and the highest proven flow; the first
    one may begin before from_ms. Hours in which the unit did not run have no point.
    """
    width = -(-max(1, to_ms - from_ms) // ((max(2, max_points) - 1) * HOUR_MS)) * HOUR_MS
    found = conn.execute(_POINTS, {"unit": unit, "from_ms": from_ms, "to_ms": to_ms, "width": width})
    return [
        CapacityPoint(unit=unit, hour_ms=at_ms, p05_lpm=low, p50_lpm=middle, p95_lpm=high, seen=bool(seen),
                      proven_lpm=proven)
        for at_ms, low, middle, high, seen, proven in found
    ]  # fmt: skip
