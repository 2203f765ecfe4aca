"""The live loop with a real broker and a real store: stored, then acknowledged, then told; nothing counted twice."""

import sqlite3
import threading

import msgspec
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import ManualClock
from collector.door import Door
from collector.intake import subscriber
from collector.live import Collector
from collector.reading import Reading
from collector.rules.entries import ACKNOWLEDGE, OUT_OF_SERVICE, SHELVE, JournalEntry
from collector.senml import encode_pack
from collector.site import parse_site
from collector.store import StoreError, open_store
from collector.store.connect import connect_writer, store_path
from collector.store.history import journal_rows, open_reader, readings
from collector.store.journal import JournalWriter, verify
from collector.topics import gauge_topic, heartbeat_topic, link_topic, readings_topic, signal_topic
from tests.waiting import wait_for

FACILITY = "sim-live"
SITE = f"""
[facility]
id = "{FACILITY}"
[[ward]]
id = "w1"
name = "Ward one"
[[ward]]
id = "w2"
[[model]]
id = "m"
[[unit]]
id = "u1"
model = "m"
ward = "w1"
[[unit]]
id = "u2"
model = "m"
ward = "w2"
"""
NOW_MS = 1_790_000_000_000


class Bench:
    """A broker's clients and a collector's parts, all at the test's hand."""

    def __init__(self, broker, data) -> None:
        self.broker, self.data = broker, data
        self.clock = ManualClock(NOW_MS)
        self.heard: dict[str, list[dict]] = {}
        self.closers: list = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, "outside", protocol=mqtt.MQTTv311)
        self.client.on_message = self._hear
        ready = threading.Event()
        self.client.on_connect = lambda c, *_: c.subscribe(
            [(f"oxygen/v1/{FACILITY}/ward/+/signal", 1), (heartbeat_topic(FACILITY), 1)]
        )
        self.client.on_subscribe = lambda *_: ready.set()
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        assert ready.wait(10)

    def _hear(self, _client, _data, message) -> None:
        self.heard.setdefault(message.topic, []).append(msgspec.json.decode(message.payload))

    def signal(self, ward: str) -> dict:
        return self.heard.get(signal_topic(FACILITY, ward), [{}])[-1]

    def beats(self) -> list[str]:
        return [beat["state"] for beat in self.heard.get(heartbeat_topic(FACILITY), [])]

    def store(self, **options):
        store = open_store(self.data, FACILITY, durable=False, **options)
        self.closers.append(store.close)
        return store

    def collector(self, *, store=None, site=SITE, **options) -> Collector:
        made = Collector(
            parse_site(site), store or self.store(), Door(self.broker.host, self.broker.port), self.clock, **options
        )
        self.closers.append(made.line.close)
        self.until(made, lambda: made.line.subscribed, "the subscription")
        return made

    def until(self, collector, predicate, what: str, timeout_s: float = 20) -> None:
        def turn():
            collector.turn(0.02)
            return predicate()

        wait_for(turn, timeout_s, what)

    def send(self, *sent: Reading) -> None:
        for reading in sent:
            payload = encode_pack(FACILITY, reading.unit, [reading])
            self.publish(readings_topic(FACILITY, reading.unit), payload)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self.client.publish(topic, payload, 1, retain).wait_for_publish(10)

    def feed(self, collector: Collector, *sent: Reading) -> None:
        """Publish and turn until all of it is stored, the clock standing at the last one's time."""
        self.clock.advance(max(0, max(r.time_ms for r in sent) - self.clock.now_ms()))
        want = collector.counts["readings"] + len(sent)
        self.send(*sent)
        self.until(collector, lambda: collector.counts["readings"] >= want, f"{len(sent)} readings")

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()
        for closer in reversed(self.closers):
            closer()


@pytest.fixture
def bench(nats, tmp_path):
    made = Bench(nats, tmp_path / "data")
    yield made
    made.close()


@pytest.fixture
def quick(monkeypatch):
    """No long pause before a connect, for tests in which nothing is sent again."""
    monkeypatch.setattr(subscriber, "PAUSE_S", 0.0)


#: A unit that is low when it is first seen is taken as warming up; after this one it is not.
GOOD = Reading("u1", NOW_MS - 10_000, 93.0, 4.0, 340.0, volts=230.0, hours_h=100.0)


def run_of(unit: str, purity_pct: float, count: int, start_ms: int = NOW_MS) -> list[Reading]:
    return [
        Reading(unit, start_ms + n * 10_000, purity_pct, 4.0, 340.0, volts=230.0, hours_h=100.0) for n in range(count)
    ]


def conditions(rows) -> list[tuple[str, str, str]]:
    return [(row.unit, row.condition, row.body["event"]) for row in rows if row.kind == "condition"]


def all_rows(data):
    conn = open_reader(data)
    try:
        return sorted(journal_rows(conn, limit=100_000), key=lambda row: row.seq)
    finally:
        conn.close()


def stored_times(data, unit: str) -> list[int]:
    conn = open_reader(data)
    try:
        return readings(conn, unit, 0, 2**53).time_ms.tolist()
    finally:
        conn.close()


def verified(data) -> bool:
    conn = open_reader(data)
    try:
        return verify(conn).ok
    finally:
        conn.close()


def test_a_reading_is_stored_judged_written_down_and_told(bench, quick):
    collector = bench.collector()
    wait_for(lambda: bench.signal("w1") and bench.signal("w2"), 10, "both wards' signals at the start")
    assert bench.signal("w1")["calm"] is True
    low = [GOOD, *run_of("u1", 80.0, 6)]  # red after 30 s; amber would need 60
    bench.feed(collector, *low)
    bench.until(collector, lambda: not bench.signal("w1")["calm"], "the ward to be told")
    signal = bench.signal("w1")
    assert [(alert["unit"], alert["condition"], alert["priority"]) for alert in signal["alerts"]] == [
        ("u1", "purity-red", "high")
    ]
    assert signal["name"] == "Ward one"
    assert signal["simulated"] is True
    assert bench.signal("w2")["calm"] is True
    assert stored_times(bench.data, "u1") == [reading.time_ms for reading in low]
    rows = all_rows(bench.data)
    assert rows[0].kind == "collector-start"
    assert ("u1", "purity-red", "raised") in conditions(rows)
    collector.close()
    assert all_rows(bench.data)[-1].kind == "collector-stop"
    wait_for(lambda: bench.beats()[-1] == "stopped", 10, "the goodbye")


def test_the_ward_hears_what_to_change_over_to_by_a_cylinder_s_own_sensor(bench, quick):
    cylinder = '[[cylinder]]\nid = "c1"\nward = "w1"\nwater_l = 9.4\nplace = "by the door"\n'
    collector = bench.collector(site=SITE + cylinder)
    gauge = encode_pack(FACILITY, "c1", [Reading("c1", NOW_MS, pressure_kpa=13_000.0)])
    bench.publish(gauge_topic(FACILITY, "c1"), gauge)
    bench.feed(collector, GOOD, *run_of("u1", 80.0, 12))
    bench.until(
        collector,
        lambda: any("changeover" in alert for alert in bench.signal("w1").get("alerts", [])),
        "the card in the ward's signal",
    )
    bench.until(collector, lambda: "c1" in bench.signal("w1")["alerts"][0]["changeover"]["cylinders"], "the cylinder")
    card = bench.signal("w1")["alerts"][0]["changeover"]
    assert card["say"].startswith("Change over to cylinder c1 (by the door): lasts about 3 h 30 min at 4.0 L/min.")
    (row,) = [row for row in all_rows(bench.data) if row.kind == "cylinder-read"]
    assert (row.origin, row.ward, row.body["kpa"], row.at_ms) == ("sensor", "w1", 13_000.0, NOW_MS)


def test_a_delay_that_is_running_goes_on_after_a_restart(bench, quick):
    collector = bench.collector()
    low = run_of("u1", 84.0, 8)
    bench.feed(collector, GOOD, *low[:4])  # 30 s of the 60 that amber waits
    assert ("u1", "purity-amber", "raised") not in conditions(all_rows(bench.data))
    collector.close()
    again = bench.collector()
    bench.feed(again, *low[4:])
    raised = [row for row in all_rows(bench.data) if row.condition == "purity-amber"]
    assert [(row.condition, row.at_ms) for row in raised] == [("purity-amber", low[6].time_ms)]


def test_what_was_stored_but_not_acknowledged_counts_once(bench):
    collector = bench.collector()
    low = [GOOD, *run_of("u1", 80.0, 5)]
    collector.line.acknowledge = lambda _batch: None  # as a kill between commit and acknowledgement
    bench.feed(collector, *low)
    before = conditions(all_rows(bench.data))
    assert before == [("u1", "purity-red", "raised")]
    collector.line.drop()
    del collector.line.acknowledge
    bench.until(collector, lambda: collector.counts["duplicates"] == 6, "the same readings again")
    assert collector.counts["late"] == 6
    assert collector.counts["readings"] == 6
    assert conditions(all_rows(bench.data)) == before
    collector.close()
    assert len(stored_times(bench.data, "u1")) == 6
    assert verified(bench.data)


def test_readings_that_come_again_behind_newer_ones_are_judged_in_order(bench):
    collector = bench.collector()
    falling = [*run_of("u1", 80.0, 4), *run_of("u1", 93.0, 4, NOW_MS + 40_000)]
    bench.clock.advance(80_000)
    bench.feed(collector, GOOD)
    bench.send(*falling[:4])
    got: list[object] = []

    def take():
        got.extend(collector.line.poll(0.02))
        return len(got) == 4

    wait_for(take, 10, "the first four, never acknowledged")
    collector.line.close()  # killed
    bench.send(*falling[4:])
    again = bench.collector()
    bench.until(again, lambda: again.counts["readings"] == 8, "all eight again")
    assert again.counts["late"] == 0
    red = [(row.body["event"], row.at_ms) for row in all_rows(bench.data) if row.condition == "purity-red"]
    assert red == [("raised", falling[2].time_ms)]  # it fell at once: three readings are enough


def test_a_locked_store_loses_nothing(bench):
    store = bench.store(busy_ms=50)
    collector = bench.collector(store=store)
    low = [GOOD, *run_of("u1", 80.0, 11)]
    bench.feed(collector, *low[:3])
    locker = connect_writer(store_path(bench.data))
    locker.execute("BEGIN IMMEDIATE")
    bench.clock.advance(200_000)
    bench.send(*low[3:])
    bench.until(collector, lambda: "locked" in collector.store_said, "the lock to be noticed")
    wait_for(lambda: bench.beats()[-1] == "halted", 10, "the heartbeat that says so")
    assert collector.line.state != "connected"
    assert stored_times(bench.data, "u1") == [reading.time_ms for reading in low[:3]]
    locker.execute("ROLLBACK")
    locker.close()
    bench.until(collector, lambda: collector.counts["readings"] == 12, "the rest")
    assert collector.store_said == ""
    assert stored_times(bench.data, "u1") == [reading.time_ms for reading in low]
    assert [c for c in conditions(all_rows(bench.data)) if c[1] == "purity-red"] == [("u1", "purity-red", "raised")]
    bench.until(collector, lambda: bench.beats()[-1] == "live", "the heartbeat to live again")


def test_a_full_store_loses_nothing(bench):
    store = bench.store(busy_ms=50)
    collector = bench.collector(store=store)
    pages = store.conn.execute("PRAGMA page_count").fetchone()[0]
    store.conn.execute(f"PRAGMA max_page_count={pages + 4}")
    many = [Reading("u1", NOW_MS + n * 1_000, 93.0, 4.0, 340.0) for n in range(1_500)]
    bench.clock.advance(1_500_000)
    for start in range(0, len(many), 100):
        payload = encode_pack(FACILITY, "u1", many[start : start + 100])
        bench.publish(readings_topic(FACILITY, "u1"), payload)
    bench.until(collector, lambda: "full" in collector.store_said, "the full disk to be noticed")
    had = stored_times(bench.data, "u1")
    assert len(had) < 1_500
    assert collector.status(0)["store_state"] == "full"
    store.conn.execute("PRAGMA max_page_count=1000000")
    bench.until(collector, lambda: len(stored_times(bench.data, "u1")) == 1_500, "all of it", 40)
    assert verified(bench.data)


def test_a_load_that_fails_leaves_nothing_half_restored(bench, monkeypatch):
    store = bench.store(busy_ms=50)
    collector = bench.collector(store=store)
    bench.feed(collector, GOOD, *run_of("u1", 84.0, 4))
    failing = [StoreError("io", "the disk does not answer")] * 2
    load_units = store.load_units

    def sometimes():
        if failing:
            raise failing.pop()
        return load_units()

    monkeypatch.setattr(store, "load_units", sometimes)
    collector._store_failed(StoreError("io", "the disk does not answer"))
    bench.feed(collector, *run_of("u1", 84.0, 3, NOW_MS + 40_000))
    assert failing == []
    raised = [row.at_ms for row in all_rows(bench.data) if row.condition == "purity-amber"]
    assert raised == [NOW_MS + 60_000], "the 30 s from before the failure must count"


def test_a_store_of_no_use_ends_the_run_with_its_sentence(bench, quick):
    store = bench.store()
    collector = bench.collector(store=store)
    with sqlite3.connect(store_path(bench.data)) as other:
        other.execute("PRAGMA writable_schema=ON")
        other.execute("UPDATE sqlite_master SET sql = 'CREATE TABLE status(' WHERE name = 'status'")
        other.execute("PRAGMA schema_version = 9999")
    other.close()
    with pytest.raises(StoreError, match=r"damaged|corrupt"):
        collector.run(threading.Event())
    collector.close()


def test_acknowledged_from_another_process_the_ward_sees_who(bench, quick):
    collector = bench.collector()
    bench.feed(collector, GOOD, *run_of("u1", 80.0, 8))
    entry = JournalEntry(at_ms=NOW_MS + 70_000, kind=ACKNOWLEDGE, unit="u1", ward="w1", condition="purity-red",
                         who="Nurse on duty", role="ward", origin="dashboard")  # fmt: skip
    JournalWriter(bench.data).append([entry])
    bench.until(collector, lambda: "acknowledged_by" in str(bench.signal("w1")), "the acknowledgement")
    assert bench.signal("w1")["alerts"][0]["acknowledged_by"] == "Nurse on duty"
    assert bench.signal("w1")["alerts"][0]["state"] == "acknowledged"


def test_a_shelf_ends_at_its_time_and_the_ward_hears_again(bench, quick):
    collector = bench.collector()
    bench.feed(collector, GOOD, *run_of("u1", 80.0, 8))
    until_ms = NOW_MS + 900_000
    shelve = JournalEntry(at_ms=NOW_MS + 70_000, kind=SHELVE, unit="u1", ward="w1", condition="purity-red",
                          who="E", role="engineer", origin="dashboard", body={"until_ms": until_ms})  # fmt: skip
    JournalWriter(bench.data).append([shelve])
    bench.until(collector, lambda: bench.signal("w1").get("calm") is True, "the shelved alarm to fall silent")
    bench.clock.advance(until_ms - bench.clock.now_ms())
    bench.until(collector, lambda: bench.signal("w1").get("calm") is False, "the shelf's end")
    ends = [row for row in all_rows(bench.data) if row.kind == "unshelve"]
    assert [(row.at_ms, row.origin) for row in ends] == [(until_ms, "collector")]


def test_out_of_service_outlives_a_restart_but_not_the_site_files_word(bench, quick):
    removed_in_site = SITE.replace('id = "u2"', 'id = "u2"\nin_service = false')
    collector = bench.collector(site=removed_in_site)
    JournalWriter(bench.data).append(
        [JournalEntry(at_ms=NOW_MS, kind=OUT_OF_SERVICE, unit="u1", who="E", role="engineer")]
    )
    bench.until(collector, lambda: "u1" in collector.followed.board.removed_units, "the entry")
    assert collector.followed.board.removed_units == {"u1", "u2"}
    collector.close()
    assert bench.collector().followed.board.removed_units == {"u1"}, "u2 is in service again in the site file"


def test_more_entries_than_one_page_of_the_journal_are_all_folded(bench, quick):
    collector = bench.collector()
    collector.close()
    notes = [JournalEntry(at_ms=NOW_MS, kind="note", body={"n": n}) for n in range(2_500)]
    last = JournalEntry(at_ms=NOW_MS, kind=OUT_OF_SERVICE, unit="u1", who="E", role="engineer")
    JournalWriter(bench.data).append([last, *notes])
    again = bench.collector()
    assert again.followed.board.removed_units == {"u1"}


def test_what_cannot_be_read_is_set_aside_and_the_rest_goes_on(bench, quick):
    collector = bench.collector()
    bench.publish(readings_topic(FACILITY, "u1"), b"not a pack")
    bench.publish(readings_topic(FACILITY, "nobody"), b"[]")
    bench.feed(collector, *run_of("u1", 93.0, 2))
    bench.until(collector, lambda: collector.counts["quarantined"] == 2, "both to be set aside")
    assert sum(collector.store.quarantine_counts().values()) == 2
    collector.close()
    again = bench.collector()
    assert again.counts["messages"] == 0, "what was set aside must be acknowledged"


def test_readings_from_the_future_are_set_aside_and_the_clock_is_named(bench, quick):
    collector = bench.collector()
    bench.send(Reading("u1", NOW_MS + 300_000, 93.0, 4.0, 340.0))
    bench.until(collector, lambda: collector.counts["quarantined"] == 1, "the reading to be set aside")
    assert conditions(all_rows(bench.data)) == [("u1", "clock-wrong", "raised")]
    bench.feed(collector, *run_of("u1", 93.0, 2))
    assert conditions(all_rows(bench.data))[-1] == ("u1", "clock-wrong", "cleared")


def test_a_bridge_that_goes_is_kept_as_status_and_note(bench, quick):
    collector = bench.collector()
    bench.publish(link_topic(FACILITY, "b1"), b"offline", retain=True)
    bench.until(collector, lambda: collector.store.status("bridge:b1"), "the link's status")
    assert collector.store.status("bridge:b1") == {"state": "offline", "at_ms": NOW_MS}
    assert [row.body for row in all_rows(bench.data) if row.kind == "note"] == [{"bridge": "b1", "link": "offline"}]


def test_a_link_that_the_broker_says_again_at_a_connect_is_no_news(bench, quick):
    collector = bench.collector()
    bench.publish(link_topic(FACILITY, "b1"), b"offline", retain=True)
    bench.until(collector, lambda: collector.store.status("bridge:b1"), "the link's status")
    collector.close()
    bench.clock.advance(600_000)
    again = bench.collector()
    messages = again.counts["messages"]
    bench.publish(link_topic(FACILITY, "b1"), b"offline", retain=True)
    bench.until(again, lambda: again.counts["messages"] > messages, "the link again")
    assert again.store.status("bridge:b1") == {"state": "offline", "at_ms": NOW_MS}
    assert len([row for row in all_rows(bench.data) if row.kind == "note"]) == 1


def test_silence_is_told_at_its_deadline_once_caught_up(bench, quick):
    collector = bench.collector()
    bench.feed(collector, *run_of("u1", 93.0, 3))
    bench.clock.advance(600_000)
    bench.until(collector, lambda: bench.signal("w1").get("calm") is False, "the silence to be told")
    silent = [(row.unit, row.at_ms) for row in all_rows(bench.data) if row.condition == "readings-absent"]
    assert silent[0] == ("u1", NOW_MS + 20_000 + 120_000 + 15_000)


def test_a_bridge_that_dies_is_one_event_that_names_it_and_outlives_a_restart(bench, quick):
    both = SITE.replace('ward = "w2"', 'ward = "w1"')
    collector = bench.collector(site=both)
    bench.feed(collector, *run_of("u1", 93.0, 3), *run_of("u2", 93.0, 3))
    bench.publish(link_topic(FACILITY, "b1"), b"offline", retain=True)
    bench.until(collector, lambda: collector.store.status("bridge:b1"), "the link's status")
    collector.close()
    bench.clock.advance(600_000)
    again = bench.collector(site=both)
    bench.until(again, lambda: bench.signal("w1").get("calm") is False, "the silence to be told")
    (told,) = [row for row in all_rows(bench.data) if row.condition == "readings-absent"]
    assert (told.unit, told.ward, told.at_ms) == ("", "w1", NOW_MS + 20_000 + 135_000)
    assert (told.body["evidence"]["units"], told.body["evidence"]["bridge"]) == (["u1", "u2"], "b1")
    assert bench.signal("w1")["alerts"][0]["units"] == ["u1", "u2"]


def test_a_backlog_is_not_taken_for_silence_while_it_is_read(bench, quick, monkeypatch):
    """A unit whose readings wait in the broker is not silent, and its low purity is not taken for a new warm-up."""
    monkeypatch.setattr(subscriber, "BATCH", 10)
    collector = bench.collector()
    bench.feed(collector, GOOD)
    collector.close()
    both = zip(run_of("u1", 80.0, 90), run_of("u2", 93.0, 90), strict=True)
    bench.clock.advance(900_000)
    bench.send(*[reading for pair in both for reading in pair])
    # The broker may send all of it before it confirms the subscription; here that is to make no difference.
    monkeypatch.setattr(subscriber.Subscriber, "subscribed", property(lambda line: line.state == "connected"))
    again = bench.collector()
    bench.until(again, lambda: again.counts["readings"] == 180, "the backlog")
    found = conditions(all_rows(bench.data))
    assert [c for c in found if c[1] == "readings-absent"] == []
    assert ("u1", "purity-red", "raised") in found


def test_no_broker_is_not_taken_for_silent_units(bench, quick):
    collector = bench.collector()
    bench.feed(collector, *run_of("u1", 93.0, 3))
    bench.broker.kill()
    bench.until(collector, lambda: collector.line.state != "connected", "the broker's loss")
    bench.clock.advance(600_000)
    for _ in range(20):
        collector.turn(0.0)
    assert conditions(all_rows(bench.data)) == []
    collector._status_s = float("-inf")
    collector.turn(0.0)
    assert collector.store.status("collector")["broker_state"] == "connecting"


def test_upkeep_is_done_under_steady_traffic(bench, quick):
    collector = bench.collector()
    rolled = False
    for n in range(60):
        bench.feed(collector, Reading("u1", NOW_MS + n * 10_000, 93.0, 4.0, 340.0))
        rolled = collector.store.conn.execute("SELECT count(*) FROM rollup_1m").fetchone()[0] > 0
        if rolled:
            break
    assert rolled


def test_the_status_says_how_it_stands(bench, quick):
    collector = bench.collector(site_text=SITE, site_path="site.toml")
    bench.feed(collector, *run_of("u1", 93.0, 3))
    collector._status_s = float("-inf")
    collector.turn(0.0)
    status = collector.store.status("collector")
    assert status["broker_state"] == "connected"
    assert status["readings"] == 3
    assert status["store_state"] == "good"
    assert status["broker"] == f"{bench.broker.host}:{bench.broker.port}"
    assert collector.store.status("site") == {"path": "site.toml", "text": SITE}
    assert collector.store.status("clock")["at_ms"] == NOW_MS
    bench.until(collector, lambda: {"w1", "w2"} <= set(collector.teller.told_ms), "the broker to confirm both signals")


def test_an_empty_site_works(bench, quick):
    collector = bench.collector(site=f'[facility]\nid = "{FACILITY}"\n')
    for _ in range(5):
        collector.turn(0.01)
    wait_for(lambda: bench.beats(), 10, "a heartbeat")
    collector.close()
