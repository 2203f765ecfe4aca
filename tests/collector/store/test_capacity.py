"""Capacity on record: points by the hour, the estimator's memory, and a store that was made before there were any."""

import msgspec
import pytest

from collector.rules.capacity.now import CapacityPoint
from collector.store import history, open_store, schema
from collector.store.retention import DAY_MS
from tests.collector.store.samples import HOUR, START, count, put, reading, run_of, upkeep


def point(hour=0, unit="alder", middle=4.0, **fields):
    usual = {"p05_lpm": middle - 0.5, "p50_lpm": middle, "p95_lpm": middle + 0.5, "seen": True, "proven_lpm": None}
    return CapacityPoint(unit=unit, hour_ms=START + hour * HOUR, **usual | fields)


def keep(store, *points):
    with store.transaction():
        store.add_capacity(points)


def test_points_come_back_as_they_were_in_order_and_of_their_unit_only(store, reader):
    points = [point(hour, proven_lpm=3.0 if hour else None, seen=hour != 2) for hour in range(4)]
    keep(store, *reversed(points), point(1, "birch"))
    assert history.capacity_points(reader, "alder", START, START + 4 * HOUR) == points
    assert history.capacity_points(reader, "alder", START + HOUR, START + 3 * HOUR) == points[1:3]
    assert history.capacity_points(reader, "nobody", START, START + 4 * HOUR) == []


def test_a_later_point_of_the_same_hour_replaces_the_earlier_one(store, reader):
    keep(store, point(middle=4.0))
    keep(store, point(middle=3.0))
    assert history.capacity_points(reader, "alder", START, START + HOUR) == [point(middle=3.0)]


def test_many_points_are_put_into_buckets_and_the_band_only_widens(store, reader):
    keep(store, *(point(hour, middle=4.0 + hour % 2, proven_lpm=float(hour % 7)) for hour in range(1000)))
    found = history.capacity_points(reader, "alder", START, START + 1000 * HOUR, 50)
    assert 40 < len(found) <= 50
    assert {(p.p05_lpm, p.p95_lpm, p.seen) for p in found[1:-1]} == {(3.5, 5.5, True)}
    assert all(4.4 < p.p50_lpm < 4.6 for p in found[1:-1])
    assert {p.proven_lpm for p in found[1:-1]} == {6.0}


def test_what_was_not_seen_does_not_blur_what_was(store, reader):
    keep(store, point(0, middle=3.0), *(point(hour, middle=9.0, seen=False) for hour in range(1, 30)))
    first, *others = history.capacity_points(reader, "alder", START, START + 30 * HOUR, 4)
    assert (first.p05_lpm, first.p50_lpm, first.p95_lpm, first.seen) == (2.5, 3.0, 3.5, True)
    assert {(p.p50_lpm, p.seen) for p in others} == {(9.0, False)}


def test_estimates_are_replaced_and_come_back_bit_for_bit(store):
    with store.transaction():
        store.save_estimates([("birch", b"old"), ("alder", bytes(range(256)) * 40)])
        store.save_estimates([("birch", b"\x00new")])
    assert store.load_estimates() == [("alder", bytes(range(256)) * 40), ("birch", b"\x00new")]


def test_a_broken_transaction_leaves_neither_points_nor_estimates(store):
    def work():
        with store.transaction():
            store.add_capacity([point()])
            store.save_estimates([("alder", b"x")])
            raise KeyError

    with pytest.raises(KeyError):
        work()
    assert (count(store, "capacity_hour"), count(store, "estimate"), count(store, "unit_no")) == (0, 0, 0)


def test_points_are_kept_as_long_as_hours(store):
    put(store, run_of(3))
    upkeep(store, START + 3 * HOUR)
    keep(store, *(point(hour) for hour in range(3)))
    days = store.retention.hour_days
    for hours, left in ((0, 3), (1, 2), (3, 0)):
        while store.retain(START + days * DAY_MS + hours * HOUR):
            pass
        assert (count(store, "capacity_hour"), count(store, "rollup_1h")) == (left, 3 * left)


def test_a_store_of_the_first_layout_is_brought_up_to_date_and_keeps_what_it_held(data_dir, monkeypatch):
    newest = schema.MIGRATIONS
    schema._known.cache_clear()
    monkeypatch.setattr(schema, "MIGRATIONS", [schema.first_layout])
    with open_store(data_dir, "sim-test") as store:
        put(store, [reading()])
        with pytest.raises(Exception, match="no such table"):
            store.load_estimates()
    monkeypatch.setattr(schema, "MIGRATIONS", newest)
    schema._known.cache_clear()
    with open_store(data_dir, "sim-test") as store:
        keep(store, point())
        assert [r.purity_pct for r in history.iter_readings(store.conn)] == [93.5]
        assert history.capacity_points(store.conn, "alder", START, START + HOUR) == [point()]


def test_a_unit_s_row_from_before_capacity_is_read(store):
    put(store, [reading()])
    store.conn.execute("INSERT INTO unit_now VALUES (1, ?)", (msgspec.msgpack.encode({"unit": "alder"}),))
    assert [row.capacity for row in store.load_units()] == [None]
