"""Disks that are full, not to be written or damaged, under a collector at work: said, nothing lost, and on again."""

import json
import os
import subprocess
import sys

import pytest

from collector.clock import ManualClock
from collector.live import Collector
from collector.reading import Reading
from collector.store import StoreError, open_store
from collector.store.connect import store_path
from collector.store.soundness import damage_in
from collector.upkeep import EVERY_MS, LOOK_AFTER_MS, Upkeep
from tests.collector.store.samples import START, put, run_of, upkeep
from tests.collector.test_live import FACILITY, NOW_MS, Bench, stored_times, verified
from tests.collector.test_live import run_of as readings_of

ROOM_KIB = 6_000


@pytest.fixture
def small_disk(tmp_path):
    """A disk of a few MB; only root may make one."""
    if os.geteuid() != 0:
        pytest.skip("only root may mount a disk")
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={ROOM_KIB}k", "sieveward-test", str(folder)], capture_output=True
    )
    if made.returncode:
        pytest.skip(f"no disk can be mounted here: {made.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder):
    """Leave no room, however small."""
    with (folder / "filler").open("wb", buffering=0) as filler:
        for size in (65_536, 4_096, 1):
            try:
                while True:
                    filler.write(bytes(size))
            except OSError:
                continue
    return folder / "filler"


@pytest.fixture
def bench(nats, small_disk):
    made = Bench(nats, small_disk / "data")
    yield made
    made.close()


def test_a_disk_that_is_really_full_loses_nothing_and_goes_on_when_there_is_room(bench, small_disk):
    collector = bench.collector()
    first = readings_of("u1", 93.0, 5)
    bench.feed(collector, *first)
    filler = fill(small_disk)
    later = readings_of("u1", 93.0, 400, NOW_MS + 60_000)  # more than the WAL's last page has room for
    bench.clock.advance(later[-1].time_ms - bench.clock.now_ms())
    bench.send(*later)
    bench.until(collector, lambda: collector.store_said, "the store to be full")
    assert "the disk is full" in collector.store_said
    assert "Free some space" in collector.store_said
    assert collector.status(NOW_MS)["store_state"] in ("full", "io")
    filler.unlink()
    bench.until(collector, lambda: collector.counts["readings"] == 405, "everything, once there is room", 60)
    assert collector.store_said == ""
    assert stored_times(bench.data, "u1") == [r.time_ms for r in (*first, *later)]
    assert verified(bench.data)


def test_a_disk_that_may_not_be_written_any_more_is_said(bench):
    store = bench.store()
    collector = bench.collector(store=store)
    store.conn.execute("PRAGMA query_only=ON")  # what a card does that has locked itself
    bench.send(*readings_of("u1", 93.0, 3))
    bench.until(collector, lambda: collector.store_said, "the store to be read-only")
    assert collector.status(NOW_MS)["store_state"] == "read-only"
    assert "mount the disk for writing" in collector.store_said
    store.conn.execute("PRAGMA query_only=OFF")
    bench.until(collector, lambda: collector.counts["readings"] == 3, "the readings, once it may be written", 60)
    assert verified(bench.data)


def test_a_disk_mounted_read_only_is_refused_with_the_way_out(small_disk):
    open_store(small_disk / "data", FACILITY).close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(StoreError) as caught:
        open_store(small_disk / "data", FACILITY)
    assert caught.value.kind == "read-only"
    assert "mount the disk for writing" in str(caught.value)


# -- damage ------------------------------------------------------------------------------------------------------------


def spoil(path, table):
    """Overwrite a page of this table in the file, as a dying card does; returns how many pages the file has."""
    with open_store(path.parent, "sim-test") as store:
        store.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = store.conn.execute("PRAGMA page_size").fetchone()[0]
        root = store.conn.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0]
    with path.open("r+b") as file:
        file.seek((root - 1) * page)
        kind = file.read(1)[0]
        assert kind in (2, 5), "the table must be large enough to have pages below its root"
        file.seek((root - 1) * page + 12)
        first = int.from_bytes(file.read(2), "big")
        file.seek((root - 1) * page + first)
        child = int.from_bytes(file.read(4), "big")
        file.seek((child - 1) * page)
        file.write(b"\xa5" * page)


@pytest.fixture
def old_store(tmp_path):
    """A store with a day of packed hours; its path."""
    with open_store(tmp_path, "sim-test", durable=False) as store:
        put(store, run_of(24))
        upkeep(store, START + 23 * 3_600_000)
    return store_path(tmp_path)


def test_a_damaged_page_is_found(old_store):
    assert damage_in(old_store) == ""
    spoil(old_store, "reading_hour")
    assert damage_in(old_store).startswith("reading_hour: ")


def test_the_command_says_whether_a_store_is_sound(old_store):
    def run(*more):
        argv = [sys.executable, "-m", "collector.cli", "check", "--store", "--data", str(old_store.parent), *more]
        return subprocess.run(argv, capture_output=True, text=True, check=False)

    good = run()
    assert (good.returncode, good.stdout.strip()) == (0, f"{old_store} is sound")
    spoil(old_store, "reading_hour")
    bad = run("--json")
    assert bad.returncode == 1
    assert json.loads(bad.stdout)["sound"] is False
    assert "sieveward restore" in bad.stderr


def test_damage_in_what_nobody_asks_for_is_told_within_a_day_and_stays_told(old_store):
    spoil(old_store, "reading_hour")
    clock = ManualClock(START + 24 * 3_600_000)
    with open_store(old_store.parent, "sim-test", durable=False) as store:
        care = Upkeep(store, clock)
        care._due_ms |= dict.fromkeys(("roll_up", "pack", "retain"), 2**60)
        assert not care.slice()
        clock.advance(LOOK_AFTER_MS)
        looked(care)
        (said,) = care.said
        assert "reading_hour" in said
        assert "sieveward restore" in said
        clock.advance(EVERY_MS["look"])
        looked(care)
        rows = store.journal_after(0)
        assert [(row.kind, row.body["said"][:12]) for row in rows] == [("store-damaged", "reading_hour")]  # once
        assert Upkeep(store, clock).said == [said]  # after a restart too
        with store.transaction():  # the present goes on
            store.add_readings([Reading("alder", clock.now_ms(), 93.0)])


def looked(care):
    """One whole look."""
    assert care.slice()
    assert care._look is not None
    care._look._thread.join(30)
    care.slice()


def test_a_look_can_be_ended(old_store):
    with open_store(old_store.parent, "sim-test", durable=False) as store:
        clock = ManualClock(START)
        care = Upkeep(store, clock)
        care._due_ms |= dict.fromkeys(("roll_up", "pack", "retain"), 2**60) | {"look": 0}
        care.slice()
        assert care._look is not None
        thread = care._look._thread
        care.close()
        assert not thread.is_alive()


def test_damage_in_what_the_collector_needs_ends_it_with_the_way_out(nats, tmp_path):
    bench = Bench(nats, tmp_path / "data")
    try:
        collector = bench.collector()
        bench.feed(collector, *readings_of("u1", 93.0, 200))
        collector.close()
        collector.store.close()
        path = store_path(bench.data)
        with path.open("r+b") as file:
            file.seek(4096)
            file.write(b"\xa5" * (path.stat().st_size - 4096))
        with pytest.raises(StoreError) as caught:
            Collector(collector.site, bench.store(), collector.line.door, bench.clock)
        assert caught.value.fatal
        assert "restore a backup" in str(caught.value)
    finally:
        bench.close()
