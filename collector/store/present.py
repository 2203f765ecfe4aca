"""What is known now: one row a unit, one an alarm, and named status documents."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from typing import Any, Final

import msgspec

from collector.rules.alarms import Alarm
from collector.rules.unitrow import UnitRow
from collector.store.connect import reads
from collector.store.readings import UnitNumbers

_encode: Final = msgspec.msgpack.Encoder().encode
_decode_unit: Final = msgspec.msgpack.Decoder(UnitRow).decode
_decode_alarm: Final = msgspec.msgpack.Decoder(Alarm).decode


def save_units(conn: sqlite3.Connection, numbers: UnitNumbers, rows: Iterable[UnitRow]) -> None:
    """Put each unit's row in the place of the one before."""
    conn.executemany(
        "INSERT OR REPLACE INTO unit_now VALUES (?, ?)", [(numbers[row.unit], _encode(row)) for row in rows]
    )


def save_alarms(conn: sqlite3.Connection, alarms: Iterable[Alarm]) -> None:
    """Put each alarm in the place of the one before with its key."""
    conn.executemany("INSERT OR REPLACE INTO alarm VALUES (?, ?, ?, ?)", [(*a.key, _encode(a)) for a in alarms])


def set_status(conn: sqlite3.Connection, key: str, document: dict[str, Any]) -> None:
    """Put a document in the place of the one before under that key."""
    conn.execute("INSERT OR REPLACE INTO status VALUES (?, ?)", (key, msgspec.json.encode(document).decode()))


@reads
def unit_rows(conn: sqlite3.Connection) -> list[UnitRow]:
    """Every unit that was ever heard of, by unit id."""
    found = conn.execute("SELECT body FROM unit_now JOIN unit_no USING (unit_no) ORDER BY unit")
    return [_decode_unit(body) for (body,) in found]


@reads
def alarm_rows(conn: sqlite3.Connection) -> list[Alarm]:
    """Every alarm that ever was, by unit, ward and condition."""
    return [_decode_alarm(body) for (body,) in conn.execute("SELECT body FROM alarm ORDER BY unit, ward, condition")]


@reads
def status(conn: sqlite3.Connection, key: str) -> dict[str, Any] | None:
    """The document under that key, or None."""
    found = conn.execute("SELECT body FROM status WHERE key = ?", (key,)).fetchone()
    return None if found is None else dict(json.loads(found[0]))


@reads
def statuses(conn: sqlite3.Connection, prefix: str) -> dict[str, dict[str, Any]]:
    """Every document whose key begins so, by key (`bridge:` gives every bridge)."""
    found = conn.execute("SELECT key, body FROM status WHERE substr(key, 1, ?) = ? ORDER BY key", (len(prefix), prefix))
    return {key: json.loads(body) for key, body in found}
