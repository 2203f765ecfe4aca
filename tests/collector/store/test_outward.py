"""What a copy elsewhere leans on: what comes late is noted, each time anew, until nobody can use it."""

from collector.store import outward
from collector.store.retention import Retention
from tests.collector.store.samples import HOUR, MINUTE, START, count, put, reading, run_of, upkeep


def noted(store):
    """Late minutes that are rolled up again, as (minute after START, unit)."""
    return [((late.minute_ms - START) // MINUTE, late.unit) for late in outward.late_minutes(store.conn, 0, 100)]


def test_what_comes_in_time_is_not_late(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    put(store, [reading(at_ms=START + HOUR)])
    assert count(store, "late_minute") == 0


def test_a_late_minute_is_told_once_its_rollup_is_made_again(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    put(store, [reading(at_ms=START + 5 * MINUTE + 1)])
    assert noted(store) == []
    upkeep(store, START + HOUR)
    assert noted(store) == [(5, "alder")]


def test_late_again_has_a_new_number(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    seen = []
    for milli in (1, 2):
        put(store, [reading(at_ms=START + 5 * MINUTE + milli)])
        upkeep(store, START + HOUR)
        seen.append(outward.heads(store.conn).late_seq)
    assert seen[1] > seen[0]
    assert [late.seq for late in outward.late_minutes(store.conn, seen[0], 100)] == [seen[1]]


def test_a_number_is_never_given_twice_though_its_row_is_gone(store):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    put(store, [reading(at_ms=START + 5 * MINUTE + 1)])
    upkeep(store, START + HOUR)
    first = outward.heads(store.conn).late_seq
    store.retention = Retention(raw_days=0)
    while store.retain(START + HOUR):
        pass
    assert count(store, "late_minute") == 0
    put(store, [reading(at_ms=START + 6 * MINUTE + 1)])
    assert outward.heads(store.conn).late_seq > first


def test_rollups_of_a_span_come_by_time_and_unit(store):
    put(store, run_of(0.5))
    upkeep(store, START + HOUR)
    rows = outward.rollup_rows(store.conn, "rollup_1m", START + MINUTE, START + 3 * MINUTE)
    assert [(row[0] - START, row[1]) for row in rows] == [
        (minute * MINUTE, unit) for minute in (1, 2) for unit in ("alder", "birch", "cedar")
    ]
    assert outward.rolled_count(store.conn, START, START + HOUR) == 270
    assert outward.first_rollup_ms(store.conn, "rollup_1m", START + 1) == START + MINUTE
    assert outward.first_rollup_ms(store.conn, "rollup_1m", START + HOUR) is None
