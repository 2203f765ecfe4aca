"""The journal can only be added to, and its chain tells when somebody got past that."""

import hashlib
import io
import json
import sqlite3
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from collector.rules.entries import CONDITION, SHELVE, JournalEntry
from collector.store import JournalWriter, StoreError, history, journal
from tests.collector.store.samples import START, note

ROWS = 9
COPY = """INSERT INTO journal SELECT {seq}, recorded_ms, at_ms, kind, unit, ward, condition, who, role, origin, body,
    hash, hash FROM journal WHERE seq = {of}"""


@pytest.fixture
def conn(store):
    """The connection of a store with nine journal rows."""
    for place in range(ROWS):
        with store.transaction():
            store.append_journal([note(f"number {place}", START + place, unit="alder")], START + 100 + place)
    return store.conn


def tamper(conn, *statements):
    """Change the journal as somebody would who may write the file: past its guards, and putting them back after."""
    guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        conn.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        conn.execute(statement)
    for _, sql in guards:
        conn.execute(sql)


def test_a_whole_chain_is_whole(conn):
    result = journal.verify(conn)
    assert (result.ok, result.rows, result.head_seq, result.broken_seq) == (True, ROWS, ROWS, None)
    assert journal.verify(conn, expect=(ROWS, result.head_hash)).ok


def test_an_empty_journal_is_whole(store):
    assert journal.verify(store.conn).ok


@pytest.mark.parametrize(
    "change",
    ["body = '{\"text\":\"another\"}'", "at_ms = at_ms + 1", "who = 'somebody'", "unit = 'birch'", "recorded_ms = 0",
     "kind = 'shelve'", "body = ' ' || body", "hash = prev_hash"],
)  # fmt: skip
def test_an_altered_row_is_found(conn, change):
    tamper(conn, f"UPDATE journal SET {change} WHERE seq = 4")  # noqa: S608 - the test's own words
    result = journal.verify(conn)
    assert (result.broken_seq, result.ok) == (4, False)
    assert "altered" in result.reason


def test_a_removed_row_is_found(conn):
    tamper(conn, "DELETE FROM journal WHERE seq = 4")
    result = journal.verify(conn)
    assert result.broken_seq == 5
    assert "missing" in result.reason


def test_a_removed_row_is_found_when_the_others_close_up(conn):
    tamper(conn, "DELETE FROM journal WHERE seq = 4", "UPDATE journal SET seq = seq - 1 WHERE seq > 4",
           "UPDATE journal_head SET seq = seq - 1")  # fmt: skip
    assert journal.verify(conn).broken_seq == 4


def test_an_inserted_row_is_found(conn):
    tamper(conn, "UPDATE journal SET seq = -seq - 1 WHERE seq > 4", "UPDATE journal SET seq = -seq WHERE seq < 0",
           COPY.format(seq=5, of=4), "UPDATE journal_head SET seq = seq + 1")  # fmt: skip
    assert journal.verify(conn).broken_seq == 5


def test_a_cut_tail_is_found_by_the_head(conn):
    tamper(conn, "DELETE FROM journal WHERE seq > 6")
    result = journal.verify(conn)
    assert result.broken_seq == 7
    assert "tail was cut" in result.reason


def test_a_cut_tail_with_a_mended_head_needs_a_noted_head(conn):
    noted = journal.verify(conn)
    tamper(conn, "DELETE FROM journal WHERE seq > 6",
           "UPDATE journal_head SET seq = 6, hash = (SELECT hash FROM journal WHERE seq = 6)")  # fmt: skip
    assert journal.verify(conn).ok  # what verify cannot see alone
    result = journal.verify(conn, expect=(noted.head_seq, noted.head_hash))
    assert result.broken_seq == 7
    assert "was noted" in result.reason


def test_a_chain_made_anew_needs_a_noted_head(conn):
    noted = journal.verify(conn)
    entries = [note("made up", START + place) for place in range(ROWS)]
    tamper(conn, "DELETE FROM journal", "UPDATE journal_head SET seq = 0, hash = ''")
    conn.execute("BEGIN IMMEDIATE")
    journal.append(conn, entries, START)
    conn.execute("COMMIT")
    assert journal.verify(conn).ok  # what verify cannot see alone
    result = journal.verify(conn, expect=(noted.head_seq, noted.head_hash))
    assert (result.broken_seq, result.reason) == (ROWS, "its hash is not the one that was noted")


def test_missing_guards_are_reported(conn):
    conn.execute("DROP TRIGGER journal_no_update")
    result = journal.verify(conn)
    assert not result.ok
    assert "journal_no_update" in result.reason


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE journal SET who = 'x' WHERE seq = 2",
        "DELETE FROM journal",
        "REPLACE INTO journal SELECT * FROM journal WHERE seq = 9",
        COPY.format(seq=12, of=9),
        "UPDATE journal_head SET seq = 3",
        "DELETE FROM journal_head",
    ],
)
def test_the_journal_can_only_be_added_to(conn, statement):
    with pytest.raises(sqlite3.IntegrityError):
        conn.execute(statement)
    assert journal.verify(conn).ok


def test_a_refused_change_is_a_store_error(store, conn):
    def change():
        with store.transaction():
            conn.execute("DELETE FROM journal")

    with pytest.raises(StoreError, match="cannot be deleted") as caught:
        change()
    assert caught.value.kind == "refused"


def test_adding_needs_a_transaction(conn):
    with pytest.raises(RuntimeError, match="transaction"):
        journal.append(conn, [note("x")], START)


def test_exported_lines_can_be_checked_without_this_program(conn):
    out = io.BytesIO()
    assert journal.export(conn, out) == ROWS
    prev_hash = ""
    for line in out.getvalue().splitlines():
        row = json.loads(line)
        assert (row.pop("prev_hash"), row.pop("hash")) == (prev_hash, prev_hash := _sha256(prev_hash, row))
    assert prev_hash == journal.verify(conn).head_hash


def _sha256(prev_hash, row):
    text = prev_hash + json.dumps(row, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def test_export_takes_a_span(conn):
    out = io.BytesIO()
    assert journal.export(conn, out, from_ms=START + 2, to_ms=START + 5) == 3
    assert [json.loads(line)["seq"] for line in out.getvalue().splitlines()] == [3, 4, 5]


def test_what_is_returned_is_what_is_read_back(store):
    body = {
        "audience": ("ward", "engineer"),
        "evidence": {"purity_pct": float("nan"), "ümlaut": "°", "x": 1e16},
        "n": 3,
    }
    entry = JournalEntry(at_ms=START, kind=CONDITION, unit="alder", ward="w", condition="purity-red", body=body)
    with store.transaction():
        rows = store.append_journal([entry, entry], START + 9)
    assert rows == store.journal_after(0)
    assert rows[0].body["audience"] == ["ward", "engineer"]
    assert rows[0].body["evidence"]["purity_pct"] is None
    assert journal.verify(store.conn).ok


def test_rows_are_found_by_unit_span_and_kind(store, conn):
    with store.transaction():
        shelve = JournalEntry(at_ms=START + 3, kind=SHELVE, unit="birch")
        store.append_journal([shelve, note("late", START + 1, unit="alder")], START)
    found = history.journal_rows(conn, unit="alder", from_ms=START + 1, to_ms=START + 4)
    assert [(row.at_ms - START, row.seq) for row in found] == [(3, 4), (2, 3), (1, 11), (1, 2)]
    assert [row.unit for row in history.journal_rows(conn, kinds=[SHELVE])] == ["birch"]
    assert len(history.journal_rows(conn, limit=4)) == 4
    assert history.journal_rows(conn, kinds=[]) == []
    assert [row.seq for row in store.journal_after(ROWS, limit=1)] == [10]


def test_two_processes_add_to_one_chain(store, data_dir):
    script = Path(__file__).with_name("journal_child.py")
    child = subprocess.Popen([sys.executable, script, data_dir, "150"], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline() == "under way\n"
    mine = 0
    while child.poll() is None:
        with store.transaction():
            mine += len(store.append_journal([note("mine"), note("mine too")], START))
    child.stdout.close()
    assert child.returncode == 0
    result = journal.verify(store.conn)
    assert (result.ok, result.rows) == (True, 150 + mine)
    origins = [row.origin for row in store.journal_after(0, 10_000)]
    turns = sum(a != b for a, b in pairwise(origins))
    assert mine > 0
    assert turns > 2, "the two never wrote at the same time: this test showed nothing"


def test_the_writer_stamps_the_wall_clock(store, data_dir):
    rows = JournalWriter(data_dir, wall_ms=lambda: 42).append([note("a"), note("b")])
    assert [(row.seq, row.recorded_ms) for row in rows] == [(1, 42), (2, 42)]
    assert store.journal_after(0) == rows
