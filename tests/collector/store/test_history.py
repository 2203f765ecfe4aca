"""Readings back again: hot and packed, one unit or all, while another connection writes."""

import pytest

from collector.store import StoreError, history
from tests.collector.store.samples import HOUR, MINUTE, START, UNITS, put, reading, run_of, upkeep


@pytest.fixture
def readings(store):
    """Four hours, of which the first two are packed, with late ones for both kinds, in order."""
    whole = run_of(4)
    late = [r for place, r in enumerate(whole) if place % 17 == 0]
    put(store, [r for r in whole if r not in late])
    upkeep(store, START + 2 * HOUR)
    put(store, late)
    return sorted(whole, key=lambda r: (r.time_ms, r.unit))


SPANS = [(0, 4 * HOUR), (90 * MINUTE + 7, 150 * MINUTE + 14), (HOUR, 2 * HOUR), (-HOUR, 1), (5 * HOUR, 9 * HOUR)]


@pytest.mark.parametrize("span", SPANS)
def test_one_units_readings_of_a_span(reader, readings, span):
    low, high = START + span[0], START + span[1]
    for unit in UNITS:
        expected = [r for r in readings if r.unit == unit and low <= r.time_ms < high]
        assert history.readings(reader, unit, low, high).readings(unit) == expected


@pytest.mark.parametrize("span", SPANS)
def test_all_units_readings_of_a_span_in_order(reader, readings, span):
    low, high = START + span[0], START + span[1]
    assert list(history.iter_readings(reader, low, high)) == [r for r in readings if low <= r.time_ms < high]


def test_some_units_only(reader, readings):
    some = list(history.iter_readings(reader, units={"cedar", "nobody"}))
    assert some == [r for r in readings if r.unit == "cedar"]
    assert list(history.iter_readings(reader, units=())) == []


def test_equal_moments_come_in_order_of_the_unit_id(store, reader):
    put(store, [reading(unit) for unit in ("cedar", "alder", "birch")])
    assert [r.unit for r in history.iter_readings(reader)] == ["alder", "birch", "cedar"]


def test_an_unknown_unit_has_no_readings(reader, readings):
    assert len(history.readings(reader, "nobody", START, START + HOUR)) == 0


def test_years_without_readings_are_stepped_over(store, reader):
    far = START + 3_000 * 24 * HOUR
    put(store, [reading(), reading("birch", far)])
    statements: list[str] = []
    reader.set_trace_callback(statements.append)
    assert [r.time_ms for r in history.iter_readings(reader)] == [START, far]
    assert len(statements) < 40


def test_a_long_read_goes_on_while_upkeep_moves_readings(store, reader):
    whole = run_of(4)
    put(store, whole)
    seen = []
    for place, found in enumerate(history.iter_readings(reader)):
        seen.append(found)
        if place % 500 == 0:
            store.roll_up(START + 4 * HOUR)
            store.pack(START + 4 * HOUR)
    upkeep(store, START + 4 * HOUR)
    assert seen == sorted(whole, key=lambda r: (r.time_ms, r.unit))


def test_readings_that_are_packed_between_two_queries_are_neither_missed_nor_doubled(store, reader):
    whole = run_of(2)
    put(store, whole)
    while store.roll_up(START + 2 * HOUR):
        pass
    packed: list[str] = []

    def pack_before_the_hot_ones_are_read(statement):
        if "FROM reading " in statement and not packed:
            packed.append(statement)
            upkeep(store, START + 2 * HOUR)

    reader.set_trace_callback(pack_before_the_hot_ones_are_read)
    found = history.readings(reader, "birch", START, START + 2 * HOUR).readings("birch")
    assert packed
    assert found == [r for r in whole if r.unit == "birch"]


def test_a_reader_cannot_write(reader):
    with pytest.raises(Exception, match="readonly"):
        reader.execute("DELETE FROM reading")


def test_errors_of_a_reader_are_store_errors(store, reader):
    put(store, [reading()])
    store.conn.execute("DROP TABLE reading_hour")
    with pytest.raises(StoreError, match=r"store\.sqlite3"):
        history.readings(reader, "alder", START, START + HOUR)
