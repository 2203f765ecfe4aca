"""What figures of the fleet are made from: rollups of every unit and the journal's rows, all of one moment.

Rules of this file: only whole hours that have been rolled up are read, so a window is moved back to full hours and ends
with the last of them; minutes are read for those hours alone that cannot be judged whole.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from itertools import groupby
from typing import Final

from collector.rules.entries import JournalRow
from collector.service.given import Bucket, Given, given, needs_minutes
from collector.service.reliability import KINDS, Record
from collector.service.spans import Span
from collector.site import Model, Site
from collector.store import journal
from collector.store.connect import reads, snapshot
from collector.store.present import unit_rows
from collector.store.readings import HOUR_MS, read_marks

_COLUMNS: Final = """at_ms, n, purity_pct_min, purity_pct_max, flow_lpm_max, flow_lpm_sum / nullif(flow_lpm_n, 0),
    power_w_min, power_w_max, power_w_sum / nullif(power_w_n, 0), purity_pct_n"""
_OF_UNIT: Final = """unit_no = (SELECT unit_no FROM unit_no WHERE unit = ?) AND at_ms >= ? AND at_ms < ?
    ORDER BY at_ms"""
# The names put into these statements are this package's own constants.
_HOURS: Final = f"SELECT {_COLUMNS} FROM rollup_1h WHERE {_OF_UNIT}"  # noqa: S608
_MINUTES: Final = f"SELECT {_COLUMNS} FROM rollup_1m WHERE {_OF_UNIT}"  # noqa: S608
# Each unit's first hour by its key, instead of a walk over every hour there is.
_FIRST: Final = """SELECT min(first_ms) FROM (SELECT
    (SELECT min(at_ms) FROM {table} AS r WHERE r.unit_no = u.unit_no AND at_ms >= ?) AS first_ms FROM unit_no AS u)"""


@reads
def fleet_record(conn: sqlite3.Connection, site: Site, window: Span, now_ms: int) -> Record:
    """Everything that `fleet_figures` asks for; the span is empty while no hour has been rolled up."""
    with snapshot(conn):
        rolled_ms = rolled_until(conn)
        (first_ms,) = conn.execute(_FIRST.format(table="rollup_1h"), (0,)).fetchone()
        until_ms = min(now_ms // HOUR_MS * HOUR_MS, rolled_ms)
        since_ms = until_ms if first_ms is None else _first_minute(conn, first_ms)
        whole = (window[0] // HOUR_MS * HOUR_MS, window[1] // HOUR_MS * HOUR_MS)
        start, end = max(whole[0], since_ms // HOUR_MS * HOUR_MS), min(whole[1], until_ms)
        found = {unit.id: _given(conn, unit.id, site.model_of(unit.id), start, end) for unit in site.units}
        return Record(
            site=site, rows=kept_rows(conn, KINDS, now_ms), units={row.unit: row for row in unit_rows(conn)},
            given=found, window=whole, since_ms=since_ms, now_ms=until_ms,
        )  # fmt: skip


@reads
def kept_rows(conn: sqlite3.Connection, kinds: Iterable[str], until_ms: int) -> list[JournalRow]:
    """Every journal row of these kinds that happened before until_ms, in the order in which they were written."""
    names = tuple(kinds)
    where = f"kind IN ({', '.join('?' * len(names))}) AND at_ms < ? ORDER BY seq"
    return [journal.row_of(row) for row in conn.execute(f"{journal.SELECT} WHERE {where}", (*names, until_ms))]


@reads
def rolled_until(conn: sqlite3.Connection) -> int:
    """Up to when hours are rolled up, in ms; 0 for none."""
    return read_marks(conn).get("rolled_until", 0) // HOUR_MS * HOUR_MS


def _given(conn: sqlite3.Connection, unit: str, model: Model, from_ms: int, to_ms: int) -> Given:
    return given(*unit_hours(conn, unit, model, from_ms, to_ms), model)


@reads
def unit_hours(
    conn: sqlite3.Connection, unit: str, model: Model, from_ms: int, to_ms: int
) -> tuple[list[Bucket], dict[int, list[Bucket]]]:  # fmt: skip
    """A unit's hours with from_ms <= at_ms < to_ms, and the minutes of those that cannot be judged whole, by hour."""
    hours = [Bucket(*row) for row in conn.execute(_HOURS, (unit, from_ms, to_ms))]
    minutes: dict[int, list[Bucket]] = {}
    for start, end in _runs(needs_minutes(hours, model)):
        fine = (Bucket(*row) for row in conn.execute(_MINUTES, (unit, start, end)))
        minutes |= {at_ms: list(part) for at_ms, part in groupby(fine, lambda m: m.at_ms // HOUR_MS * HOUR_MS)}
    return hours, minutes


def _first_minute(conn: sqlite3.Connection, first_ms: int) -> int:
    """The record's first minute, where its first hour's minutes are still kept; else that hour."""
    (minute_ms,) = conn.execute(_FIRST.format(table="rollup_1m"), (first_ms,)).fetchone()
    return int(minute_ms) if minute_ms is not None and minute_ms < first_ms + HOUR_MS else first_ms


def _runs(hours_ms: Iterable[int]) -> list[Span]:
    """Hours that follow each other, as spans to ask for at once."""
    found: list[Span] = []
    for at_ms in hours_ms:
        if found and found[-1][1] == at_ms:
            found[-1] = (found[-1][0], at_ms + HOUR_MS)
        else:
            found.append((at_ms, at_ms + HOUR_MS))
    return found
