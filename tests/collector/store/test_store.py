"""What belongs together goes in together, comes back the same, and is there for a second opening."""

import msgspec
import pytest

from collector.rules.alarms import Alarm
from collector.rules.capacity.now import CapacityNow, Outlook
from collector.rules.unitrow import RUNNING, UnitRow
from collector.store import Quarantined, history, open_store
from tests.collector.store.samples import HOUR, MINUTE, START, count, note, put, reading, run_of, upkeep


class Stop(Exception):
    """What a transaction is broken off with."""


def break_off(store, work):
    """Do work in a transaction that does not come to its end."""

    def do():
        with store.transaction():
            work()
            raise Stop

    with pytest.raises(Stop):
        do()


def full_row(unit):
    """A unit's row with every field set to something of its own."""
    times = {
        name: START + place for place, name in enumerate(("last_ms", "received_ms", "phase_since_ms", "proven_ms"))
    }
    others = {"unit": unit, "phase": RUNNING, "state": b"\x00\xff", "capacity": full_capacity()} | times
    numbers = {name: 1.5 + place for place, name in enumerate(UnitRow.__struct_fields__) if name not in others}
    return UnitRow(**others, **numbers)  # type: ignore[arg-type]


def full_capacity():
    """What is known of a capacity, with every field set."""
    outlook = Outlook(flow_lpm=4.0, amber_in_min={"p05": 0.0, "p50": 1.5, "p95": None}, red_in_min={"p05": 3.0},
                      shutdown_in_min={})  # fmt: skip
    return CapacityNow(at_ms=START, p05_lpm=2.5, p50_lpm=3.0, p95_lpm=3.5, seen=True, good_to_lpm=2.5,
                       fall_pct_per_day=1.25, outlook=outlook, turned_up=(outlook, outlook), cause="sieve-worn",
                       why=("one", "two"))  # fmt: skip


def test_readings_of_many_units_come_back_as_they_were(store):
    readings = run_of(0.5)
    assert put(store, readings) == len(readings)
    assert list(history.iter_readings(store.conn)) == sorted(readings, key=lambda r: (r.time_ms, r.unit))


def test_a_second_reading_of_a_moment_is_not_counted_and_changes_nothing(store):
    put(store, [reading(purity_pct=93.0)])
    assert put(store, [reading(purity_pct=50.0), reading("birch"), reading("birch")]) == 1
    assert [r.purity_pct for r in history.iter_readings(store.conn)] == [93.0, 93.5]


def test_a_second_reading_is_not_counted_when_its_hour_is_packed_already(store):
    readings = run_of(3)
    put(store, readings)
    upkeep(store, START + 3 * HOUR)
    assert count(store, "reading") == 0
    assert put(store, readings[:100]) == 0
    assert put(store, [reading("alder", START + 1)]) == 1


def test_unit_rows_come_back_whole_and_the_last_one_stays(store):
    with store.transaction():
        store.save_units([UnitRow(unit="birch"), full_row("alder")])
        store.save_units([full_row("birch")])
    assert store.load_units() == [full_row("alder"), full_row("birch")]


def test_alarms_come_back_whole_by_their_key(store):
    alarms = [
        Alarm(unit="alder", ward="w1", condition="purity-red", priority="high", audience=("ward",), event_seq=7,
              evidence={"purity_pct": 81.2, "units": ["a"]}, forecast={"red_in_min": {"p50": 3.0}}, active=True),
        Alarm(unit="", ward="w2", condition="ward-supply-lost", raised_ms=START),
    ]  # fmt: skip
    moved = msgspec.structs.replace(alarms[0], ward="w2")
    with store.transaction():
        store.save_alarms(alarms)
        store.save_alarms([moved])
    assert store.load_alarms() == [alarms[1], moved]


def test_status_documents_are_replaced_and_found_by_prefix(store):
    with store.transaction():
        store.set_status("bridge:a", {"state": "online", "at_ms": START})
        store.set_status("bridge:b", {"state": "offline"})
        store.set_status("bridge:a", {"state": "offline"})
        store.set_status("clock", {"speed": 60.0})
    assert store.status("bridge:a") == {"state": "offline"}
    assert store.status("nothing") is None
    assert list(history.statuses(store.conn, "bridge:")) == ["bridge:a", "bridge:b"]


def test_a_broken_transaction_leaves_nothing_behind(store):
    put(store, [reading("birch")])

    def work():
        store.add_readings([reading("alder"), reading("cedar")])
        store.save_units([UnitRow(unit="alder")])
        store.append_journal([note("lost")], START)
        store.quarantine([Quarantined(START, "t", b"p", "kind", "why")])
        store.set_status("clock", {"speed": 1})

    break_off(store, work)
    tables = ("unit_now", "journal", "quarantine", "quarantine_count", "status", "alarm")
    assert {table: count(store, table) for table in tables} == dict.fromkeys(tables, 0)
    assert count(store, "reading") == 1
    assert count(store, "unit_no") == 1


def test_a_unit_number_that_was_rolled_back_is_given_out_anew(store):
    break_off(store, lambda: store.add_readings([reading("alder")]))
    put(store, [reading("birch"), reading("alder", purity_pct=90.0)])
    assert [(r.unit, r.purity_pct) for r in history.iter_readings(store.conn)] == [("alder", 90.0), ("birch", 93.5)]


def test_writing_outside_a_transaction_is_refused(store):
    with pytest.raises(RuntimeError, match="transaction"):
        store.add_readings([reading()])
    with pytest.raises(RuntimeError, match="transaction"):
        store.append_journal([note("x")], START)


def test_a_second_opening_finds_everything(data_dir):
    with open_store(data_dir, "sim-test") as store:
        put(store, [reading()])
        with store.transaction():
            store.save_units([full_row("alder")])
            rows = store.append_journal([note("kept", who="N", role="ward")], START + 5)
    with open_store(data_dir, "sim-test") as store:
        assert store.load_units() == [full_row("alder")]
        assert store.journal_after(0) == rows
        assert list(history.iter_readings(store.conn)) == [reading()]


def test_nothing_at_all_is_fine(store):
    with store.transaction():
        assert store.add_readings([]) == 0
        assert store.append_journal([], START) == []
        store.save_units([])
        store.quarantine([])
    assert (store.load_units(), store.load_alarms(), store.journal_after(0)) == ([], [], [])
    assert not store.roll_up(START)
    assert not store.pack(START)
    assert not store.retain(START)
    assert history.extent(store.conn).oldest_ms is None


def test_durable_means_an_fsync_for_each_commit(data_dir):
    for durable, level in ((True, 2), (False, 1)):
        with open_store(data_dir, "sim-test", durable=durable) as store:
            assert store.conn.execute("PRAGMA synchronous").fetchone()[0] == level
            assert store.conn.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_quarantine_keeps_the_newest_and_counts_for_ever(store, monkeypatch):
    monkeypatch.setattr("collector.store.quarantine.add.__kwdefaults__", {"kept_rows": 3})
    big = bytes(70_000)
    with store.transaction():
        store.quarantine([Quarantined(START + i, f"t/{i}", b"x", "limits", "out") for i in range(5)])
        store.quarantine([Quarantined(START + 9, "t/\ud800", big, "not-json", "no")])
    rows = history.quarantine_rows(store.conn)
    assert [row.topic for row in rows] == ["t/\\ud800", "t/4", "t/3"]
    assert (len(rows[0].payload), rows[0].size, rows[1].size) == (65_536, 70_000, 1)
    assert store.quarantine_counts() == {"limits": 5, "not-json": 1}


def test_extent_says_what_there_is(store):
    put(store, run_of(2))
    upkeep(store, START + HOUR)
    extent = history.extent(store.conn)
    assert (extent.units, extent.oldest_ms) == (3, START)
    assert extent.newest_ms is not None
    assert START + 2 * HOUR - MINUTE < extent.newest_ms < START + 2 * HOUR
    assert extent.file_bytes > 0
