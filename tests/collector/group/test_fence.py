"""The store refuses whoever lost it, in the midst of its work, and with either kind of SQLite journal."""

from pathlib import Path

import pytest

from collector.group.fence import Fenced, claim, seen_epoch
from collector.reading import Reading
from collector.store import open_store
from collector.store.connect import SHARED_MARK
from collector.store.history import open_reader, readings

FACILITY = "lake"


@pytest.fixture(params=["write-ahead log", "rollback journal"])
def data(request, tmp_path: Path) -> Path:
    folder = tmp_path / "data"
    folder.mkdir()
    if request.param == "rollback journal":
        (folder / SHARED_MARK).touch()
    return folder


def stored(data: Path) -> list[int]:
    conn = open_reader(data)
    try:
        return readings(conn, "u1", 0, 2**53).time_ms.tolist()
    finally:
        conn.close()


def test_after_a_claim_nothing_of_the_earlier_owner_is_stored(data: Path) -> None:
    with open_store(data, FACILITY) as old, open_store(data, FACILITY) as new:
        claim(old, 3)
        with old.transaction():
            old.add_readings([Reading("u1", 1_000, 93.0, 4.0)])
        claim(new, 4)
        with pytest.raises(Fenced) as refused, old.transaction():
            old.add_readings([Reading("u1", 2_000, 93.0, 4.0)])
        assert (refused.value.seen, refused.value.fatal) == (4, True)
        assert not old.conn.in_transaction
        with pytest.raises(Fenced):
            old.retain(0)
        with new.transaction():
            new.add_readings([Reading("u1", 3_000, 93.0, 4.0)])
    assert stored(data) == [1_000, 3_000]


def test_an_older_epoch_cannot_claim_and_changes_nothing(data: Path) -> None:
    with open_store(data, FACILITY) as store:
        claim(store, 5)
    with open_store(data, FACILITY) as late:
        with pytest.raises(Fenced, match="since epoch 5"):
            claim(late, 4)
        assert seen_epoch(late.conn) == 5


def test_a_store_of_a_single_hospital_is_not_fenced(data: Path) -> None:
    with open_store(data, FACILITY) as store:
        assert (seen_epoch(store.conn), store.guard) == (0, None)


def test_stores_that_many_machines_open_have_no_write_ahead_log(data: Path) -> None:
    with open_store(data, FACILITY) as store:
        kind = store.conn.execute("PRAGMA journal_mode").fetchone()[0]
    assert kind == ("truncate" if (data / SHARED_MARK).exists() else "wal")
