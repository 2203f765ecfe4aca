"""The journal: rows that are only ever added, each chained to the one before by a hash.

A row's hash is the SHA-256 of the previous row's hash (as hexadecimal text, empty for the first row) followed by the
row's canonical JSON: every field but prev_hash and hash, keys sorted, no spaces, non-ASCII letters escaped. `verify`
finds rows that were altered, removed, put in or cut off. What it cannot see: somebody who may write the file and makes
the whole chain and its head anew. Against that, note the head (sequence number and hash) somewhere else, on paper or in
another system, and hand it to `verify`.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO, Final

import msgspec

from collector.rules.entries import JournalEntry, JournalRow
from collector.store.connect import BUSY_MS, connect_writer, immediate, reads, snapshot, store_path
from collector.store.schema import JOURNAL_GUARDS, check_schema

_FIELDS: Final = ("seq", "recorded_ms", "at_ms", "kind", "unit", "ward", "condition", "who", "role", "origin", "body",
                  "prev_hash", "hash")  # fmt: skip
SELECT: Final = f"SELECT {', '.join(_FIELDS)} FROM journal"  # noqa: S608 - constants only
_INSERT: Final = f"INSERT INTO journal ({', '.join(_FIELDS)}) VALUES ({', '.join('?' * len(_FIELDS))})"  # noqa: S608


class VerifyResult(msgspec.Struct, frozen=True, kw_only=True):
    """What `verify` found: rows looked at, the first broken one, why, and the head to note down.

    reason is "" when the chain is whole; broken_seq is None then, and also when no single row is to blame.
    """

    rows: int
    head_seq: int
    head_hash: str
    broken_seq: int | None = None
    reason: str = ""

    @property
    def ok(self) -> bool:
        """Whether nothing was found."""
        return not self.reason


def append(conn: sqlite3.Connection, entries: Iterable[JournalEntry], recorded_ms: int) -> list[JournalRow]:
    """Add entries inside the caller's BEGIN IMMEDIATE, so that two processes cannot both follow the same row."""
    if not conn.in_transaction:
        raise RuntimeError("the journal is only added to inside a transaction")
    seq, prev_hash = conn.execute("SELECT seq, hash FROM journal_head").fetchone()
    rows = []
    for entry in entries:
        seq += 1
        row = _row(entry, seq, recorded_ms, prev_hash)
        rows.append(row)
        prev_hash = row.hash
    conn.executemany(_INSERT, [_values(row) for row in rows])
    return rows


def canonical(value: object) -> str:
    """JSON with one way to write it: keys sorted, no spaces, ASCII."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def row_hash(prev_hash: str, fields: dict[str, Any]) -> str:
    """The hash of a row with these fields (prev_hash and hash not among them)."""
    return hashlib.sha256((prev_hash + canonical(fields)).encode()).hexdigest()


def _row(entry: JournalEntry, seq: int, recorded_ms: int, prev_hash: str) -> JournalRow:
    fields = {name: getattr(entry, name) for name in JournalEntry.__struct_fields__}
    # To JSON and back: what is folded now equals what is folded from the store later (tuples are lists, NaN is null).
    fields |= {"seq": seq, "recorded_ms": recorded_ms, "body": msgspec.json.decode(msgspec.json.encode(entry.body))}
    return JournalRow(**fields, prev_hash=prev_hash, hash=row_hash(prev_hash, fields))


def _values(row: JournalRow) -> list[Any]:
    return [canonical(row.body) if name == "body" else getattr(row, name) for name in _FIELDS]


def row_of(values: Sequence[Any]) -> JournalRow:
    """A row as SELECT gives it."""
    fields = dict(zip(_FIELDS, values, strict=True))
    return JournalRow(**fields | {"body": json.loads(fields["body"])})


@reads
def verify(conn: sqlite3.Connection, expect: tuple[int, str] | None = None) -> VerifyResult:
    """Walk the whole chain; expect is a head (sequence number, hash) that was noted earlier."""
    with snapshot(conn):
        head = conn.execute("SELECT seq, hash FROM journal_head").fetchone() or (0, "")
        guards = {name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
        count, last, fault = 0, (0, ""), None
        for values in conn.execute(f"{SELECT} ORDER BY seq"):
            fault = _fault_in(values, last)
            if fault is None and expect is not None and values[0] == expect[0] and values[-1] != expect[1]:
                fault = "its hash is not the one that was noted"
            if fault is not None:
                return VerifyResult(rows=count, head_seq=head[0], head_hash=head[1], broken_seq=values[0], reason=fault)
            count, last = count + 1, (values[0], values[-1])
    seq, reason = _fault_at_end(last, head, expect, set(JOURNAL_GUARDS) - guards)
    return VerifyResult(rows=count, head_seq=head[0], head_hash=head[1], broken_seq=seq, reason=reason)


def _fault_in(values: Sequence[Any], last: tuple[int, str]) -> str | None:
    fields = dict(zip(_FIELDS, values, strict=True))
    if fields["seq"] != last[0] + 1:
        return f"rows {last[0] + 1} to {fields['seq'] - 1} are missing before it"
    if fields.pop("prev_hash") != last[1]:
        return "it does not follow the row before it"
    said, body = fields.pop("hash"), fields["body"]
    try:
        fields["body"] = json.loads(body)
        whole = canonical(fields["body"]) == body and row_hash(last[1], fields) == said
    except (TypeError, ValueError):
        whole = False
    return None if whole else "it was altered: its hash does not fit what it says"


def _fault_at_end(
    last: tuple[int, str], head: tuple[int, str], expect: tuple[int, str] | None, missing: set[str]
) -> tuple[int | None, str]:
    if last != head:
        return last[0] + 1, f"the journal ends at row {last[0]}, but its head says row {head[0]}: its tail was cut"
    if expect is not None and last[0] < expect[0]:
        return last[0] + 1, f"the journal ends at row {last[0]}, but row {expect[0]} was noted: its tail was cut"
    if missing:
        return None, f"the chain is whole, but guards of the journal are gone: {', '.join(sorted(missing))}"
    return None, ""


@reads
def export(conn: sqlite3.Connection, out: BinaryIO, from_ms: int | None = None, to_ms: int | None = None) -> int:
    """Write the rows with from_ms <= at_ms < to_ms as canonical JSON, one object a line; returns how many.

    Each line holds prev_hash and hash too, so that the chain can be checked without this program.
    """
    count = 0
    for row in _between(conn, from_ms, to_ms):
        out.write(canonical(msgspec.structs.asdict(row)).encode() + b"\n")
        count += 1
    return count


def _between(conn: sqlite3.Connection, from_ms: int | None, to_ms: int | None) -> Iterator[JournalRow]:
    where = " WHERE at_ms >= ? AND at_ms < ? ORDER BY seq"
    yield from map(row_of, conn.execute(SELECT + where, (from_ms or 0, 2**62 if to_ms is None else to_ms)))


def _wall_ms() -> int:
    return time.time_ns() // 1_000_000


class JournalWriter:
    """Adds what people did from a process of its own, beside the collector; safe to use from any thread.

    Each call opens the store, holds its write lock for a moment and closes it again; StoreError when that fails, and
    then nothing is written.
    """

    def __init__(self, data_dir: Path, *, busy_ms: int = BUSY_MS, wall_ms: Callable[[], int] = _wall_ms) -> None:
        self._path, self._busy_ms, self._wall_ms = store_path(data_dir), busy_ms, wall_ms

    def append(self, entries: Sequence[JournalEntry]) -> list[JournalRow]:
        """Write entries, stamped with the wall clock, and return their rows."""
        conn = connect_writer(self._path, busy_ms=self._busy_ms, create=False)
        try:
            check_schema(conn, self._path)
            with immediate(conn, self._path):
                return append(conn, entries, self._wall_ms())
        finally:
            conn.close()
