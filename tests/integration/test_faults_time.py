"""Clocks that jump, and packs that come twice, out of order or late: said, nothing lost that was right, on again."""

import random

import pytest

from collector.clock import ManualClock
from collector.horizon import QUIET_S, Horizon
from collector.intake import subscriber
from collector.intake.clock_watch import SAID_S, ClockWatch
from collector.reading import Reading
from collector.senml import encode_pack
from collector.store import open_store
from collector.topics import readings_topic
from collector.upkeep import Upkeep
from tests.collector.store.samples import START, count, put, run_of, upkeep
from tests.collector.test_live import FACILITY, NOW_MS, Bench, all_rows, conditions, stored_times
from tests.collector.test_live import run_of as readings_of

HOUR_MS = 3_600_000


@pytest.fixture
def bench(nats, tmp_path, monkeypatch):
    monkeypatch.setattr(subscriber, "PAUSE_S", 0.0)
    made = Bench(nats, tmp_path / "data")
    yield made
    made.close()


# -- the collector's clock ---------------------------------------------------------------------------------------------


class Clocks:
    """A wall clock that is set, beside one that nobody sets."""

    def __init__(self):
        self.wall_s, self.monotonic_s = 1_790_000_000.0, 50.0
        self.watch = ClockWatch(lambda: self.wall_s, lambda: self.monotonic_s)

    def turn(self, passed_s=0.25, set_by_s=0.0):
        self.monotonic_s += passed_s
        self.wall_s += passed_s + set_by_s
        return [row.body["by_s"] for row in self.watch.notes(NOW_MS)]


@pytest.mark.parametrize("by_s", [3600.0, -3600.0, 6.0])
def test_a_clock_that_was_set_is_written_down_once_and_said_for_an_hour(by_s):
    clocks = Clocks()
    assert clocks.turn() == []
    assert clocks.turn(set_by_s=by_s) == [by_s]
    assert clocks.turn() == []
    assert ("forward" if by_s > 0 else "back") in clocks.watch.said[0]
    clocks.turn(passed_s=SAID_S + 1)
    assert clocks.watch.said == []


def test_a_clock_that_is_slowly_put_right_is_nothing_to_tell():
    clocks = Clocks()
    assert [note for _ in range(1_000) for note in clocks.turn(set_by_s=0.01)] == []


def test_a_clock_set_back_does_not_hide_silences():
    horizon, hour_ms = Horizon(1.0), HOUR_MS
    horizon.known_until(1, 0.0, NOW_MS, None)
    forward = horizon.known_until(1, QUIET_S, NOW_MS + hour_ms, None)
    back = horizon.known_until(1, QUIET_S + 1, NOW_MS + 1_000, None)
    on = horizon.known_until(1, QUIET_S + 61, NOW_MS + 61_000, None)
    settle_ms = 2_000
    assert (forward, back, on) == (
        NOW_MS + hour_ms - settle_ms, NOW_MS + 1_000 - settle_ms, NOW_MS + 61_000 - settle_ms,
    )  # fmt: skip


def test_an_hour_forward_is_told_as_silence_and_ends_with_the_next_readings(bench):
    collector = bench.collector()
    bench.feed(collector, *readings_of("u1", 93.0, 12))
    bench.until(collector, lambda: collector.horizon.caught_up, "the horizon")
    bench.clock.advance(HOUR_MS)
    bench.until(collector, lambda: ("u1", "readings-absent", "raised") in conditions(all_rows(bench.data)), "silence")
    bench.clock.advance(-HOUR_MS)
    bench.feed(collector, *readings_of("u1", 93.0, 12, NOW_MS + 120_000))
    bench.until(
        collector, lambda: ("u1", "readings-absent", "cleared") in conditions(all_rows(bench.data)), "the silence's end"
    )
    assert len(stored_times(bench.data, "u1")) == 24


def test_an_hour_back_sets_readings_aside_names_the_clock_and_goes_on_when_it_is_right(bench):
    collector = bench.collector()
    bench.feed(collector, *readings_of("u1", 93.0, 3))
    bench.clock.advance(-HOUR_MS)
    late = readings_of("u1", 93.0, 3, NOW_MS + 60_000)
    bench.send(*late)
    bench.until(collector, lambda: collector.counts["quarantined"] == 3, "what seems to come from the future")
    assert ("u1", "clock-wrong", "raised") in conditions(all_rows(bench.data))
    bench.clock.advance(HOUR_MS + 90_000)
    bench.feed(collector, *readings_of("u1", 93.0, 3, NOW_MS + 100_000))
    bench.until(collector, lambda: ("u1", "clock-wrong", "cleared") in conditions(all_rows(bench.data)), "the end")


def test_a_clock_set_to_a_wrong_year_takes_nothing_of_the_past(tmp_path):
    with open_store(tmp_path, "sim-test", durable=False) as store:
        put(store, run_of(12))
        upkeep(store, START + 11 * HOUR_MS)
        before = (count(store, "reading"), count(store, "reading_hour"))
        clock = ManualClock(START + 12 * HOUR_MS + 20 * 365 * 24 * HOUR_MS)
        care = Upkeep(store, clock)
        care._due_ms["look"] = 2**60
        for _ in range(100):
            care.slice()
        assert before[1] > 0
        assert count(store, "reading") + count(store, "reading_hour") >= before[1]
        assert care._due_ms["retain"] > clock.now_ms()  # it did have its turn
        assert store.conn.execute("SELECT min(at_ms) FROM rollup_1m").fetchone()[0] == START // 60_000 * 60_000


# -- packs -------------------------------------------------------------------------------------------------------------


def test_packs_that_come_twice_out_of_order_and_late_are_stored_once_each(bench):
    rng = random.Random(7)  # noqa: S311 - no secret
    readings = readings_of("u1", 93.0, 300)
    packs = [readings[i : i + 3] for i in range(0, 300, 3)]
    sent = packs + rng.sample(packs, 40)
    rng.shuffle(sent)
    collector = bench.collector()
    bench.clock.advance(readings[-1].time_ms - bench.clock.now_ms())
    for pack in sent:
        bench.publish(readings_topic(FACILITY, "u1"), encode_pack(FACILITY, "u1", pack))
    total = sum(map(len, sent))
    counts = collector.counts
    bench.until(collector, lambda: counts["readings"] + counts["duplicates"] == total, "all of it")
    assert (counts["readings"], counts["duplicates"]) == (300, 120)
    assert counts["late"] > 0
    assert stored_times(bench.data, "u1") == [r.time_ms for r in readings]
    assert [found for found in conditions(all_rows(bench.data)) if found[0] == "u1"] == []


def test_a_pack_a_day_late_is_in_the_record_and_moves_no_alarm(bench):
    collector = bench.collector()
    bench.feed(collector, *readings_of("u1", 93.0, 3))
    old = readings_of("u1", 70.0, 30, NOW_MS - 24 * HOUR_MS)  # it was red then
    bench.publish(readings_topic(FACILITY, "u1"), encode_pack(FACILITY, "u1", old))
    bench.until(collector, lambda: collector.counts["readings"] == 33, "the late ones")
    assert collector.counts["late"] == 30
    assert [c for c in conditions(all_rows(bench.data)) if c[1].startswith("purity")] == []


# -- a flood -----------------------------------------------------------------------------------------------------------


def test_a_mad_unit_is_thinned_and_told_while_another_unit_s_alarm_comes_through(bench):
    collector = bench.collector()
    low = [Reading("u2", NOW_MS - 10_000, 93.0, 4.0, 340.0), *readings_of("u2", 80.0, 6)]
    bench.clock.advance(60_000)
    infos = []
    for n in range(6_000):
        payload = encode_pack(FACILITY, "u1", [Reading("u1", NOW_MS + n, 93.0, 4.0, 340.0)])
        infos.append(bench.client.publish(readings_topic(FACILITY, "u1"), payload, 1))
        if n % 800 == 400:
            bench.client.publish(readings_topic(FACILITY, "u2"), encode_pack(FACILITY, "u2", [low.pop(0)]), 1)
    assert low == []
    bench.until(collector, lambda: collector.counts["messages"] >= 6_000 + 7, "the flood", 60)
    rows = all_rows(bench.data)
    assert ("u2", "purity-red", "raised") in conditions(rows)
    assert [(row.unit, row.body["state"]) for row in rows if row.kind == "flood"] == [("u1", "began")]
    assert collector.status(NOW_MS)["flooding"][0]["id"] == "u1"
    counts = collector.counts  # on a slow machine the broker sends some again
    assert len(stored_times(bench.data, "u1")) + counts["flooded"] >= 6_000
    assert sum(counts[name] for name in ("readings", "duplicates", "flooded", "quarantined")) == counts["messages"]
    assert collector.counts["flooded"] > 4_000
    assert all(info.is_published() for info in infos[:5_000])  # acknowledged: it is not sent again for ever
