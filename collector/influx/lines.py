"""Readings, rollups and events as lines of InfluxDB's line protocol, times in ms.

Rules of this file: a point is named by measurement, tags and time, so the same row always becomes the same point and
overwrites itself. Hence no ward among a reading's tags: a unit that moved would have its past twice. Every number is
written as a float, since the first form of a field binds it for ever. What was not measured is left out, and a row
of which nothing is left is no line: the protocol has neither null nor NaN.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from influxdb_client.client.write import point as library

from collector.reading import LAMPS, QUANTITIES
from collector.rules.entries import CONDITION, JournalRow
from collector.store.columns import Columns
from collector.store.schema import ROLLED

READING: Final = "reading"
EVENT: Final = "event"
#: Measurements of the rollups by the store's tables.
MEASUREMENTS: Final = {"rollup_1m": "reading_1m", "rollup_1h": "reading_1h"}
#: Fields of a rollup, in the order of the store's columns.
ROLLUP_FIELDS: Final = ("n", *(f"{q}_{part}" for q in ROLLED for part in ("n", "sum", "min", "max")))
_point: Any = library.Point  # the library's functions carry no types
_LAMP_FIELDS: Final = ("", *(f'lamp="{lamp}"' for lamp in LAMPS))


class Heads(dict[str, str]):
    """Measurement and tags of each unit, escaped by the client library and kept."""

    def __init__(self, measurement: str, facility: str) -> None:
        super().__init__()
        self._measurement, self._facility = measurement, facility

    def __missing__(self, unit: str) -> str:
        point = _point(self._measurement).tag("facility", self._facility).tag("unit", unit)
        self[unit] = str(point.field("x", 1.0).to_line_protocol()).removesuffix(" x=1")
        return self[unit]


def reading_lines(heads: Heads, units: Sequence[str], columns: Columns) -> list[str]:
    """Readings of several units; units[i] is whose columns' row i is."""
    fields = [_fields(name, getattr(columns, name).tolist()) for name in QUANTITIES]
    fields.append([_LAMP_FIELDS[code] for code in columns.lamp.tolist()])
    said = (",".join(filter(None, row)) for row in zip(*fields, strict=True))
    return [f"{heads[unit]} {values} {at_ms}"
            for unit, values, at_ms in zip(units, said, columns.time_ms.tolist(), strict=True) if values]  # fmt: skip


def _fields(name: str, values: list[float]) -> list[str]:
    # value == value is False for NaN, which stands for "not measured".
    return [f"{name}={value!r}" if value == value else "" for value in values]


def rollup_lines(heads: Heads, rows: Iterable[tuple[Any, ...]]) -> list[str]:
    """Rollups as `store.outward.rollup_rows` gives them."""
    lines = []
    for at_ms, unit, *values in rows:
        said = ",".join(f"{name}={float(value)!r}"
                        for name, value in zip(ROLLUP_FIELDS, values, strict=True) if value is not None)  # fmt: skip
        lines.append(f"{heads[unit]} {said} {at_ms}")
    return lines


def event_lines(facility: str, rows: Iterable[JournalRow]) -> list[str]:
    """What the rules found, of journal rows; who did what stays in the journal, which is the record of people."""
    return [_event(facility, row) for row in rows if row.kind == CONDITION]


def _event(facility: str, row: JournalRow) -> str:
    body: Mapping[str, Any] = row.body
    point = _point(EVENT).tag("facility", facility).tag("unit", row.unit).tag("ward", row.ward)
    point.tag("condition", row.condition).tag("event", str(body.get("event", "")))
    for name in ("priority", "cause"):
        if body.get(name):
            point.field(name, str(body[name]))
    return str(point.field("seq", float(row.seq)).time(row.at_ms, "ms").to_line_protocol())
