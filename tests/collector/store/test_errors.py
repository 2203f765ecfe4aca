"""Every way the store can fail, for real: a plain sentence, the way out, and nothing half stored."""

import os
import sqlite3

import pytest

from collector.store import JournalWriter, StoreError, open_reader, open_store, schema
from collector.store.connect import store_path
from tests.collector.store.samples import START, count, note, put, reading, run_of


def fails(kind, *says):
    """Expect a StoreError of that kind whose text holds those words."""

    class Expected:
        def __enter__(self):
            self.raises = pytest.raises(StoreError)
            self.caught = self.raises.__enter__()

        def __exit__(self, *error):
            done = self.raises.__exit__(*error)
            assert self.caught.value.kind == kind, self.caught.value
            assert all(word in str(self.caught.value) for word in (*says, "store.sqlite3")), self.caught.value
            return done

    return Expected()


def test_locked_by_another_program(store, data_dir):
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    store.conn.execute("PRAGMA busy_timeout = 20")
    with fails("locked", "Close what holds it open"), store.transaction():
        store.add_readings([reading()])
    with fails("locked"):
        JournalWriter(data_dir, busy_ms=20).append([note("x")])
    other.execute("ROLLBACK")
    other.close()
    assert put(store, [reading()]) == 1
    assert count(store, "journal") == 0


def test_full_disk_stores_nothing_and_goes_on_when_there_is_room(store):
    put(store, [reading("birch", START - 1)])
    pages = store.conn.execute("PRAGMA page_count").fetchone()[0]
    store.conn.execute(f"PRAGMA max_page_count = {pages + 3}")
    readings = run_of(3, units=("alder", "birch"))
    with fails("full", "Free some space"), store.transaction():
        store.append_journal([note("x")], START)
        store.add_readings(readings)
    assert not store.conn.in_transaction
    assert (count(store, "reading"), count(store, "journal"), count(store, "unit_no")) == (1, 0, 1)
    store.conn.execute("PRAGMA max_page_count = 1000000")
    with store.transaction():
        assert store.add_readings(readings) == len(readings)


def test_read_only(store, data_dir):
    put(store, [reading()])
    with open_store(data_dir, "sim-test", read_only=True) as watcher:
        with fails("read-only", "right to write"), watcher.transaction():
            watcher.add_readings([reading("birch")])
        assert watcher.load_units() == []
    assert count(store, "reading") == 1


def test_a_directory_where_the_wal_should_be(store, data_dir):
    store.close()
    os.mkdir(f"{store_path(data_dir)}-wal")
    with fails("io", "-wal"):
        open_store(data_dir, "sim-test")


def test_a_file_where_the_data_directory_should_be(tmp_path):
    (tmp_path / "data").write_text("a file")
    with pytest.raises(StoreError, match="cannot be made a directory") as caught:
        open_store(tmp_path / "data", "sim-test")
    assert caught.value.kind == "io"


def test_a_file_that_is_no_database(data_dir):
    data_dir.mkdir()
    store_path(data_dir).write_bytes(b"these are notes about oxygen, not a database. " * 200)
    for opening in (lambda: open_store(data_dir, "sim-test"), lambda: open_reader(data_dir)):
        with fails("corrupt", "restore a backup"):
            opening()
    assert store_path(data_dir).read_bytes().startswith(b"these are notes")


def test_bytes_overwritten_in_the_middle(store, data_dir):
    put(store, run_of(4))
    store.close()
    path = store_path(data_dir)
    blob = bytearray(path.read_bytes())
    blob[16_384:-4096] = b"\xa5" * (len(blob) - 16_384 - 4096)
    path.write_bytes(blob)
    with fails("corrupt", "restore a backup"), open_store(data_dir, "sim-test") as harmed, harmed.transaction():
        harmed.add_readings(run_of(4, every_ms=15_000))
    assert StoreError("corrupt", "").fatal


def test_another_facility(store, data_dir):
    for read_only in (False, True):
        with fails("other-facility", "'sim-test'", "'hilltop'", "another data directory"):
            open_store(data_dir, "hilltop", read_only=read_only)
    with open_store(data_dir, "sim-test", read_only=True):
        pass


def test_a_database_of_another_program(data_dir):
    data_dir.mkdir()
    with sqlite3.connect(store_path(data_dir)) as conn:
        conn.execute("CREATE TABLE reading (whatever)")
    conn.close()
    with fails("other-facility", "did not make"):
        open_store(data_dir, "sim-test")


def test_a_newer_version_is_refused_by_everybody_and_left_alone(store, data_dir):
    store.conn.execute("INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES (?, 'spins', '')",
                       (schema.MIGRATION_SET,))  # fmt: skip
    openings = (
        lambda: open_store(data_dir, "sim-test"),
        lambda: open_store(data_dir, "sim-test", read_only=True),
        lambda: open_reader(data_dir),
        lambda: JournalWriter(data_dir).append([note("x")]),
    )
    for opening in openings:
        with fails("newer-schema", "spins", "Use that version"):
            opening()
    assert count(store, "journal") == 0


def test_an_older_version_is_not_brought_up_to_date_by_a_reader(store, data_dir, monkeypatch):
    known = schema._known()
    monkeypatch.setattr(schema, "_known", lambda: known | {"second_layout"})
    before = store.conn.execute("PRAGMA schema_version").fetchone()
    for opening in (lambda: open_reader(data_dir), lambda: open_store(data_dir, "sim-test", read_only=True)):
        with fails("older-schema", "collector once"):
            opening()
    assert store.conn.execute("PRAGMA schema_version").fetchone() == before


def test_nothing_there_yet(data_dir):
    openings = (lambda: open_reader(data_dir), lambda: JournalWriter(data_dir).append([note("x")]))
    for opening in openings:
        with fails("missing", "Start the collector"):
            opening()
    assert not data_dir.exists()
    data_dir.mkdir()
    sqlite3.connect(store_path(data_dir)).execute("PRAGMA user_version = 0").connection.close()
    store_path(data_dir).touch()
    with fails("missing", "not set up"):
        open_reader(data_dir)


def test_a_failed_migration_leaves_no_half_made_store(data_dir, monkeypatch):
    monkeypatch.setattr(schema, "_JOURNAL", (*schema._JOURNAL[:3], "CREATE TABLE journal (again)"))
    with pytest.raises(StoreError):
        open_store(data_dir, "sim-test")
    monkeypatch.undo()
    with open_store(data_dir, "sim-test") as store:
        assert put(store, [reading()]) == 1
