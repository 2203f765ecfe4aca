"""What the store no longer holds, asked of InfluxDB.

Rules of this file: questions are InfluxQL over `/query`, the one way of reading that servers of versions 1 and 2 share;
each has both time bounds. Version 2 answers it for a bucket that a database and a retention policy are mapped to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, Final

import msgspec
import numpy as np
import urllib3
from urllib3.exceptions import HTTPError

from collector.influx.lines import MEASUREMENTS, READING
from collector.influx.target import Target, TargetError
from collector.reading import QUANTITIES, Reading
from collector.store.columns import Columns
from collector.store.readings import HOUR_MS, MINUTE_MS
from collector.store.schema import ROLLED
from collector.store.series import Source, Sums, sums_of_readings, sums_of_rows

#: People wait for the answer: rather say that it does not come.
TIMEOUT_S: Final = 10.0
_TABLES: Final[dict[Source, tuple[str, int]]] = {
    "minutes": (MEASUREMENTS["rollup_1m"], MINUTE_MS), "hours": (MEASUREMENTS["rollup_1h"], HOUR_MS),
}  # fmt: skip
_SUMMED: Final = ", ".join(f"sum({q}_n), sum({q}_sum), min({q}_min), max({q}_max)" for q in ROLLED)
_QUANTITIES: Final = ", ".join(QUANTITIES)


class FarError(Exception):
    """The long memory gave no answer; the text says why, and what to do."""


class Readback:
    """Reads one facility's past from one bucket; connects at each question, keeps the connection."""

    def __init__(self, target: Target, timeout_s: float = TIMEOUT_S) -> None:
        self._target = target
        self._pool = urllib3.PoolManager(timeout=timeout_s, retries=False)

    def sums(self, unit: str, from_ms: int, to_ms: int, source: Source, width_ms: int) -> Sums:
        """A unit's readings, or its rollups put together by width_ms, with from_ms <= time < to_ms; FarError.

        Of rollups, the minute or hour that from_ms falls into is counted whole. width_ms is a multiple of its length.
        """
        if source == "raw":
            # lamp is asked for so that a reading that holds nothing else is counted.
            rows = self._select(f"{_QUANTITIES}, lamp", READING, self._where(from_ms, to_ms, unit))
            return sums_of_readings(_columns(rows))
        name, step_ms = _TABLES[source]
        where = self._where(from_ms // step_ms * step_ms, to_ms, unit)
        # The server's windows begin at multiples of their width, as ours do.
        rows = self._select(f"sum(n), {_SUMMED}", name, where, f"GROUP BY time({width_ms}ms) fill(none)")
        return sums_of_rows([[0.0 if place % 4 == 2 and value is None else value for place, value in enumerate(row)]
                             for row in rows])  # fmt: skip

    def readings(self, from_ms: int, to_ms: int, units: Collection[str] | None = None) -> Iterator[Reading]:
        """Readings of all units (or of these) by time and unit, an hour in memory at a time; FarError."""
        at = from_ms
        while (first := self._first_ms(at, to_ms)) is not None:
            at = first // HOUR_MS * HOUR_MS + HOUR_MS
            where = self._where(max(first, from_ms), min(at, to_ms))
            rows = self._select(f"unit, {_QUANTITIES}, lamp", READING, where)
            for time_ms, unit, *values in sorted(rows, key=lambda row: row[:2]):
                if units is None or unit in units:
                    yield Reading(unit, time_ms, *values)

    def _first_ms(self, from_ms: int, to_ms: int) -> int | None:
        if from_ms >= to_ms:
            return None
        where = self._where(from_ms, to_ms)
        rows = self._select(f"{_QUANTITIES}, lamp", READING, where, "ORDER BY time ASC LIMIT 1")
        return int(rows[0][0]) if rows else None

    def _where(self, from_ms: int, to_ms: int, unit: str | None = None) -> str:
        of_unit = "" if unit is None else f" AND unit = {_quoted(unit)}"
        return f"facility = {_quoted(self._target.facility)}{of_unit} AND time >= {from_ms}ms AND time < {to_ms}ms"

    def _select(self, what: str, measurement: str, where: str, how: str = "") -> list[list[Any]]:
        """Rows of the answer, each beginning with its time in ms; strings in `where` are quoted already."""
        question = f"SELECT {what} FROM {measurement} WHERE {where} {how}"  # noqa: S608 - InfluxQL knows no parameters
        database, policy = self._target.database
        fields = {"db": database, "rp": policy, "epoch": "ms", "q": question}
        try:
            headers = {"Authorization": f"Token {self._target.token()}"}
            answer = self._pool.request("GET", f"{self._target.url}/query", fields=fields, headers=headers)
        except TargetError as error:
            raise FarError(str(error)) from error
        except HTTPError as error:
            raise FarError(f"the InfluxDB at {self._target.url} does not answer ({error})") from error
        return _rows(answer.status, answer.data, self._target)


def _rows(status: int, data: bytes, target: Target) -> list[list[Any]]:
    try:
        said = msgspec.json.decode(data) if data else {}
        results = said.get("results", [{}]) if status == 200 else [{}]
        fault = results[0].get("error") or (said.get("message") or said.get("error") if status != 200 else None)
    except (msgspec.DecodeError, AttributeError, IndexError) as error:
        raise FarError(f"the InfluxDB at {target.url} answered what cannot be read ({status}: {error})") from error
    if status != 200 or fault:
        raise FarError(f"the InfluxDB at {target.url} does not tell ({status}: {fault}); see that the token in "
                       f"{target.token_file} may read, and that database '{target.database[0]}' and retention policy "
                       f"'{target.database[1]}' are mapped to the bucket")  # fmt: skip
    return [row for series in results[0].get("series", ()) for row in series["values"]]


def _columns(rows: list[list[Any]]) -> Columns:
    table = np.array([row[:-1] for row in rows], np.float64).reshape(-1, len(QUANTITIES) + 1)
    return Columns.of_table(np.column_stack([table, np.zeros(len(table))]))


def _quoted(text: str) -> str:
    """As InfluxQL wants a string: within quotes, backslash before each quote and backslash."""
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
