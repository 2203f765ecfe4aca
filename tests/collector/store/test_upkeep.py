"""Upkeep in slices: packing loses nothing, late readings find their place, retention takes only what it should."""

import random
import subprocess
import sys
from itertools import islice, pairwise
from pathlib import Path

import pytest

from collector.store import StoreError, history, open_store, packing, retention, rollups
from collector.store.retention import DAY_MS
from tests.collector.store.samples import HOUR, MINUTE, START, count, put, reading, run_of, upkeep


def everything(store):
    """All readings, in order."""
    return list(history.iter_readings(store.conn))


def in_order(readings):
    """Readings as the store gives them back."""
    return sorted(readings, key=lambda r: (r.time_ms, r.unit))


def test_packing_moves_whole_hours_and_loses_nothing(store):
    readings = run_of(3.5)
    put(store, readings)
    upkeep(store, START + 3 * HOUR + 30 * MINUTE)
    assert everything(store) == in_order(readings)
    assert count(store, "reading_hour") == 9
    assert count(store, "reading") == len([r for r in readings if r.time_ms >= START + 3 * HOUR])


def test_each_call_is_a_slice_of_bounded_work(store, monkeypatch):
    monkeypatch.setattr(packing, "SLICE_ROWS", 200)
    monkeypatch.setattr(rollups, "SLICE_ROWS", 200)
    readings = run_of(2)
    put(store, readings)
    while store.roll_up(START + 2 * HOUR):
        pass
    sizes = [count(store, "reading")]
    more = True
    while more:
        more = store.pack(START + 2 * HOUR)
        sizes.append(count(store, "reading"))
    taken = [before - after for before, after in pairwise(sizes)]
    assert len(taken) == 6
    assert 0 < max(taken) <= 200
    assert everything(store) == in_order(readings)


def test_what_is_not_rolled_up_is_not_packed(store):
    put(store, run_of(2))
    assert not store.pack(START + 2 * HOUR)
    assert count(store, "reading_hour") == 0
    while store.roll_up(START + HOUR):
        pass
    upkeep_left = store.pack(START + 2 * HOUR)
    assert (upkeep_left, count(store, "reading_hour")) == (False, 3)


def test_a_late_reading_joins_its_packed_hour_and_its_rollups(store):
    readings = run_of(3)
    put(store, readings)
    upkeep(store, START + 3 * HOUR)
    late = reading("birch", START + HOUR + 5 * MINUTE + 1, purity_pct=-0.5)
    assert put(store, [late]) == 1
    assert everything(store) == in_order([*readings, late])
    upkeep(store, START + 3 * HOUR)
    assert everything(store) == in_order([*readings, late])
    assert (count(store, "reading"), count(store, "rollup_due")) == (0, 0)
    lows = "SELECT at_ms, purity_pct_min FROM {} WHERE purity_pct_min = -0.5"
    assert store.conn.execute(lows.format("rollup_1m")).fetchall() == [(START + HOUR + 5 * MINUTE, -0.5)]
    hour = [low for at, low in store.conn.execute(lows.format("rollup_1h")) if at == START + HOUR]
    assert hour == [-0.5]


def test_a_late_reading_that_is_packed_before_the_next_roll_up_still_reaches_the_rollups(store):
    put(store, run_of(3))
    upkeep(store, START + 3 * HOUR)
    put(store, [reading("birch", START + HOUR + 1, purity_pct=-0.5)])
    while store.pack(START + 3 * HOUR):
        pass
    while store.roll_up(START + 3 * HOUR):
        pass
    lows = store.conn.execute("SELECT min(purity_pct_min) FROM rollup_1h WHERE at_ms = ?", (START + HOUR,))
    assert lows.fetchone() == (-0.5,)


def test_an_unknown_unit_may_be_late_too(store):
    put(store, run_of(2))
    upkeep(store, START + 2 * HOUR)
    assert put(store, [reading("willow", START + 1)]) == 1
    upkeep(store, START + 2 * HOUR)
    assert history.readings(store.conn, "willow", START, START + HOUR).time_ms.tolist() == [START + 1]


def test_a_backlog_older_than_everything_is_taken(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    older = run_of(3, start=START - 30 * HOUR)
    assert put(store, older) == len(older)
    upkeep(store, START + HOUR)
    assert everything(store) == in_order([*older, *run_of(1)])
    assert store.conn.execute("SELECT sum(n) FROM rollup_1h").fetchone()[0] == len(older) + len(run_of(1))


def test_a_damaged_packed_hour_is_said_and_not_overwritten(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    store.conn.execute("UPDATE reading_hour SET blob = substr(blob, 1, 40)")
    with pytest.raises(StoreError, match="damaged"):
        put(store, [reading("alder", START + 1)])
    assert (count(store, "reading"), count(store, "reading_hour")) == (0, 3)


def drop_old(store, now_ms):
    """Retain until nothing is left to do."""
    while store.retain(now_ms):
        pass


def test_retention_takes_each_kind_at_its_age(store, monkeypatch):
    monkeypatch.setattr(retention, "SLICE_ROWS", 7)
    monkeypatch.setattr(retention, "SLICE_HOURS", 2)
    put(store, run_of(3))
    upkeep(store, START + 3 * HOUR)
    put(store, run_of(1, start=START + 3 * HOUR))
    while store.roll_up(START + 4 * HOUR):
        pass
    keep = store.retention

    def left(days, hours):
        drop_old(store, START + days * DAY_MS + hours * HOUR)
        return (
            count(store, "reading_hour"),
            count(store, "reading"),
            count(store, "rollup_1m"),
            count(store, "rollup_1h"),
        )

    assert left(keep.raw_days, 0) == (9, 540, 720, 12)
    assert left(keep.raw_days, 2) == (3, 540, 720, 12)
    assert left(keep.raw_days, 4) == (0, 0, 720, 12)
    assert left(keep.minute_days, 1) == (0, 0, 540, 12)
    assert left(keep.minute_days, 4) == (0, 0, 0, 12)
    assert left(keep.hour_days, 3) == (0, 0, 0, 3)


def test_retention_waits_for_the_rollups(store):
    put(store, run_of(1))
    drop_old(store, START + 200 * DAY_MS)
    assert count(store, "reading") == len(run_of(1))


def test_a_reading_later_than_retention_does_not_spoil_the_rollups(store):
    put(store, run_of(2))
    upkeep(store, START + 2 * HOUR)
    drop_old(store, START + 91 * DAY_MS)
    before = (
        store.conn.execute("SELECT * FROM rollup_1m").fetchall(),
        store.conn.execute("SELECT * FROM rollup_1h").fetchall(),
    )
    put(store, [reading("alder", START + 1)])
    upkeep(store, START + 2 * HOUR)
    drop_old(store, START + 91 * DAY_MS)
    after = (
        store.conn.execute("SELECT * FROM rollup_1m").fetchall(),
        store.conn.execute("SELECT * FROM rollup_1h").fetchall(),
    )
    assert after == before
    assert everything(store) == []


@pytest.mark.slow
def test_killed_at_any_point_upkeep_loses_and_doubles_nothing(store, data_dir):
    readings = in_order(run_of(12, every_ms=60_000))
    put(store, readings)
    store.close()
    script, rng, kills, finished = Path(__file__).with_name("upkeep_child.py"), random.Random(3), 0, False  # noqa: S311
    while not finished:
        child = subprocess.Popen([sys.executable, script, data_dir, str(START + 12 * HOUR)], stdout=subprocess.PIPE)
        assert child.stdout is not None
        lines = list(islice(child.stdout, rng.randint(4, 14)))
        finished = b"done\n" in lines
        child.kill()
        child.wait()
        child.stdout.close()
        kills += not finished
        with open_store(data_dir, "sim-test", durable=False) as after:
            assert everything(after) == readings
    assert kills >= 5
    with open_store(data_dir, "sim-test") as after:
        assert (count(after, "reading"), count(after, "reading_hour")) == (0, 36)
        assert after.conn.execute("SELECT sum(n) FROM rollup_1h").fetchone()[0] == len(readings)
        assert after.conn.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
