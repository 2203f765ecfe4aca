"""In how many minutes of a span each unit was heard, from the minute rollups."""

from __future__ import annotations

import sqlite3
from typing import Final

from collector.store.connect import reads, snapshot
from collector.store.readings import MINUTE_MS, read_marks

_HEARD: Final = """SELECT unit, (SELECT count(*) FROM rollup_1m AS r WHERE r.unit_no = u.unit_no
    AND at_ms >= ? AND at_ms < ?) FROM unit_no AS u ORDER BY unit"""
_FIRST: Final = """SELECT min(at_ms) FROM (SELECT (SELECT min(at_ms) FROM rollup_1m AS r
    WHERE r.unit_no = u.unit_no AND at_ms >= ?) AS at_ms FROM unit_no AS u)"""


@reads
def minutes_heard(conn: sqlite3.Connection, from_ms: int, to_ms: int) -> tuple[int, dict[str, int]]:
    """Minutes of the span that are on record and rolled up, and in how many of them each unit was heard.

    The span begins with the first minute that any unit was heard in, so that a young record has no gap before it.
    """
    with snapshot(conn):
        (first,) = conn.execute(_FIRST, (from_ms,)).fetchone()
        if first is None:
            return 0, {}
        end = min(to_ms, read_marks(conn).get("rolled_until", 0)) // MINUTE_MS * MINUTE_MS
        found = {unit: int(n) for unit, n in conn.execute(_HEARD, (first, end))}
    return max(0, (end - int(first)) // MINUTE_MS), found
