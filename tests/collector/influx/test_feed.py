"""The copy to a real server: all of it, once, in spite of what happens on the way."""

from collector.rules.entries import CONDITION, JournalEntry
from tests.collector.influx.conftest import carried
from tests.collector.store.samples import HOUR, MINUTE, START, count, put, reading, run_of, upkeep


def database(target):
    return target.database[0]


def test_readings_rollups_and_events_are_copied(store, feed, server, target):
    readings = run_of(2)
    put(store, readings)
    with store.transaction():
        store.append_journal([JournalEntry(
            at_ms=START + HOUR, kind=CONDITION, unit="alder", ward="w", condition="purity-red", origin="collector",
            body={"event": "raised", "priority": "high", "cause": "sieve-worn"},
        )], START)  # fmt: skip
    upkeep(store, START + 2 * HOUR)
    carried(feed)
    name = database(target)
    rows = server.rows(name, "SELECT * FROM reading")
    assert len(rows) == len(readings)
    assert server.rows(name, "SELECT sum(n) FROM reading_1m")[0]["sum"] == len(readings)
    assert server.rows(name, "SELECT sum(n) FROM reading_1h")[0]["sum"] == len(readings)
    (event,) = server.rows(name, "SELECT * FROM event")
    assert event == {"time": START + HOUR, "unit": "alder", "ward": "w", "facility": "sim-test", "event": "raised",
                     "condition": "purity-red", "priority": "high", "cause": "sieve-worn", "seq": 1}  # fmt: skip
    wanted = {(r.unit, r.time_ms): (r.purity_pct, r.hours_h, r.lamp) for r in readings}
    assert {(r["unit"], r["time"]): (r["purity_pct"], r["hours_h"], r["lamp"]) for r in rows} == wanted


def test_what_comes_late_is_copied_too_and_so_are_the_rollups_over_it(store, feed, server, target):
    put(store, run_of(3))
    upkeep(store, START + 3 * HOUR)
    carried(feed)
    put(store, [reading("alder", START + 30 * MINUTE + 1, purity_pct=12.5)])
    feed.turn()
    assert feed.state()["waiting"] == 1, "it waits until its rollup is made again"
    upkeep(store, START + 3 * HOUR)
    carried(feed)
    name = database(target)
    assert server.rows(name, "SELECT min(purity_pct) FROM reading WHERE purity_pct = 12.5")[0]["min"] == 12.5
    total = count(store, "reading") + store.conn.execute("SELECT sum(n) FROM reading_hour").fetchone()[0]
    assert server.rows(name, "SELECT sum(n) FROM reading_1m")[0]["sum"] == total
    assert server.rows(name, "SELECT sum(n) FROM reading_1h")[0]["sum"] == total
