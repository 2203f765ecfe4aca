"""Supply voltage of units from the rollups: hours that were measured, and the minutes of those that were not all good.

Rules of this file: an hour whose least and greatest value lie within the limits needs no look at its minutes. The
newest such hours are looked at first, and only so many: `left_out` says how many were not.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Final

from collector.service.power_quality import Minute, UnitSupply
from collector.store.connect import reads, snapshot
from collector.store.readings import HOUR_MS, read_marks

#: Unit-hours looked at by the minute in one question: about a second of one core.
HOURS_MOST: Final = 20_000
_MEASURED: Final = """SELECT count(*) FROM rollup_1h WHERE unit_no = ? AND at_ms >= ? AND at_ms < ? AND volts_n > 0"""
_OUTSIDE: Final = """SELECT at_ms FROM rollup_1h WHERE unit_no = ? AND at_ms >= ? AND at_ms < ? AND volts_n > 0
    AND (volts_min < ? OR volts_max > ?)"""
_MINUTES: Final = """SELECT at_ms, volts_min, volts_max, volts_sum / volts_n FROM rollup_1m
    WHERE unit_no = ? AND at_ms >= ? AND at_ms < ? AND volts_n > 0 ORDER BY at_ms"""


@reads
def supply_minutes(
    conn: sqlite3.Connection, limits: Mapping[str, tuple[float, float]], from_ms: int, to_ms: int
) -> dict[str, UnitSupply]:  # fmt: skip
    """Each unit's supply over a span; `limits` gives by unit the volts between which it is good."""
    with snapshot(conn):
        numbers: dict[str, int] = dict(conn.execute("SELECT unit, unit_no FROM unit_no").fetchall())
        span = (from_ms // HOUR_MS * HOUR_MS, min(to_ms, read_marks(conn).get("rolled_until", 0)))
        hours = {unit: conn.execute(_MEASURED, (numbers[unit], *span)).fetchone()[0]
                 for unit in limits if unit in numbers}  # fmt: skip
        asked = ((unit, conn.execute(_OUTSIDE, (numbers[unit], *span, *limits[unit]))) for unit in hours)
        outside = sorted(((at_ms, unit) for unit, rows in asked for (at_ms,) in rows), reverse=True)
        found: dict[str, list[Minute]] = {unit: [] for unit in hours}
        for at_ms, unit in reversed(outside[:HOURS_MOST]):
            rows = conn.execute(_MINUTES, (numbers[unit], at_ms, at_ms + HOUR_MS))
            found[unit] += [Minute(*row) for row in rows]
    left: dict[str, int] = {}
    for _, unit in outside[HOURS_MOST:]:
        left[unit] = left.get(unit, 0) + 1
    return {unit: UnitSupply(n, tuple(found[unit]), left.get(unit, 0)) for unit, n in hours.items()}
