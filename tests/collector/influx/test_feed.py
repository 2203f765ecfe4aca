"""The copy to a real server: all of it, once, in spite of what happens on the way."""

import random
from contextlib import closing

import msgspec
import pytest

from collector.influx.feed import HALVINGS
from collector.influx.lines import Heads, reading_lines, rollup_lines
from collector.influx.marks import Marks
from collector.influx.sender import Away, Refused, Sender, TooLarge
from collector.influx.streams import Events
from collector.rules.entries import CONDITION, POINTS_DROPPED, JournalEntry
from collector.store import history, open_reader, open_store, outward
from tests.collector.influx.conftest import carried, retained
from tests.collector.store.samples import HOUR, MINUTE, START, UNITS, count, note, put, reading, run_of, upkeep
from tests.influx_server import BOTH_TOKEN, READ_TOKEN
from tests.waiting import free_port


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


class Taker:
    """Takes lines in a server's place, or fails as a test has written down."""

    def __init__(self, *failures):
        self.failures, self.lines, self.asked = list(failures), [], 0
        self.bad: tuple[str, ...] = ()

    def send(self, lines):
        """Take lines."""
        self.asked += 1
        if self.failures:
            raise self.failures.pop(0)
        if any(word in line for line in lines for word in self.bad):
            raise Refused("422: a line is bad")
        self.lines.extend(lines)


def turned(feed):
    """A turn, and what it says when it fails."""
    try:
        feed.turn()
    except Away as away:
        return str(away)
    return ""


def test_the_pause_grows_while_nobody_answers_and_nothing_is_asked_meanwhile(store, feed_to, target, hand):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    taker = Taker(*(Away("no answer") for _ in range(4)))
    feed = feed_to(target, taker)
    asked = []
    for hand.s in range(40):
        assert turned(feed) in ("no answer", "")
        asked.append(taker.asked)
    tries = [at for at in range(1, 40) if asked[at] > asked[at - 1]]
    assert tries[:4] == [1, 3, 7, 15]
    assert feed.state()["waiting"] == 0


def test_retry_after_is_kept_to(store, server, feed, hand, target):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    server.front.faults.append((429, {"Retry-After": "90"}))
    assert "429" in turned(feed)
    hand.s = 89.0
    assert "429" in turned(feed)
    assert server.front.writes == 1
    hand.s = 90.0
    carried(feed)
    assert len(server.rows(database(target), "SELECT * FROM reading")) == 540


@pytest.mark.parametrize("status", [429, 500, 503, 502, 418])
def test_a_status_that_says_nothing_of_the_lines_loses_none(store, server, feed, hand, target, status):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    server.front.faults.append((status, {}))
    assert str(status) in turned(feed)
    hand.s = 1_000.0
    carried(feed)
    assert feed.state()["dropped"] == 0
    assert len(server.rows(database(target), "SELECT * FROM reading")) == 540


def test_a_server_that_is_not_there_is_no_error_of_the_store(store, feed_to, target):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    feed = feed_to(msgspec.structs.replace(target, url=f"http://127.0.0.1:{free_port()}"))
    assert "does not answer" in turned(feed)
    assert feed.state()["waiting"] > 0


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"bucket": "nowhere/autogen"}, "nowhere"),
        ({"token_file": "read"}, "may not write"),
        ({"token_file": "wrong"}, "put a good one into"),
        ({"token_file": "missing"}, "cannot be read"),
        ({"token_file": "empty"}, "holds no token"),
    ],
)
def test_what_a_person_has_to_mend_is_said_and_nothing_is_dropped(store, feed_to, target, hand, tmp_path, change, said):
    (tmp_path / "read").write_text(READ_TOKEN)
    (tmp_path / "wrong").write_text("nobody's")
    (tmp_path / "empty").write_text("\n")
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    change = {name: tmp_path / value if name == "token_file" else value for name, value in change.items()}
    feed = feed_to(msgspec.structs.replace(target, **change))
    assert said in turned(feed)
    if "token_file" in change:
        change["token_file"].write_text(BOTH_TOKEN)
        hand.s = 60.0
        carried(feed)
        assert feed.state()["dropped"] == 0


def test_a_line_that_is_never_taken_is_dropped_alone_counted_and_written_down(store, feed_to, target, hand):
    put(store, run_of(2))
    upkeep(store, START + 2 * HOUR)
    taker = Taker()
    taker.bad = (f" {START + HOUR}",)
    feed = feed_to(target, taker)
    carried(feed)
    feed.turn()
    # The reading of that moment, and a minute and an hour of each unit.
    assert feed.state()["dropped"] == 7
    assert len(set(taker.lines)) == len(taker.lines) == 1080 - 1 + 3 * 120 - 3 + 3 * 2 - 3
    (row,) = [row for row in store.journal_after(0) if row.kind == POINTS_DROPPED]
    assert (row.body["points"], row.body["said"]) == (7, "422: a line is bad")


def test_a_field_of_another_type_costs_its_lines_and_no_others(store, server, feed, target):
    """A real refusal: somebody wrote purity_pct as a text before."""
    name = database(target)
    Sender(target).send(['reading,facility=sim-test,unit=alder purity_pct="good" ' + str(START)])
    put(store, [reading(unit, START + place * MINUTE, volts=230.0 if unit == "birch" else None, purity_pct=purity)
                for place in range(30) for unit, purity in (("alder", 93.0), ("birch", None))])  # fmt: skip
    upkeep(store, START + HOUR)
    carried(feed)
    assert feed.state()["dropped"] == 30
    assert len(server.rows(name, "SELECT volts FROM reading")) == 30
    assert server.front.writes == 4, "one for what was there before, one for each measurement: nothing is sent again"


def test_what_is_too_old_for_the_bucket_costs_a_request_and_not_hundreds(store, server, feed_to, target, hand):
    """A bucket that keeps a day, and a past of years: each request is refused as a whole."""
    name = database(target)
    server.statement(f"CREATE RETENTION POLICY day ON {name} DURATION 1d REPLICATION 1")
    put(store, run_of(5, start=1_600_000_000_000 // HOUR * HOUR))
    upkeep(store, 1_600_000_000_000 // HOUR * HOUR + 5 * HOUR)
    feed = feed_to(msgspec.structs.replace(target, bucket=f"{name}/day"))
    carried(feed)
    assert feed.state()["sent"] == 0
    assert feed.state()["dropped"] == 5 * (540 + 180 + 3)
    assert server.front.writes < 15


def test_a_server_that_takes_nothing_fills_neither_the_journal_nor_the_line(store, feed_to, target, hand):
    put(store, run_of(20, every_ms=5_000))
    upkeep(store, START + 20 * HOUR)
    taker = Taker()
    taker.bad = ("sim-test",)
    feed = feed_to(target, taker)
    for _ in range(5):
        carried(feed)
    assert feed.state()["sent"] == 0
    assert taker.asked < 100 * HALVINGS
    assert len([row for row in store.journal_after(0) if row.kind == POINTS_DROPPED]) == 1


def test_too_large_is_sent_in_parts(store, feed_to, target):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    taker = Taker(TooLarge("413"), TooLarge("413"))
    feed = feed_to(target, taker)
    carried(feed)
    assert feed.state()["dropped"] == 0
    assert len([line for line in taker.lines if line.startswith("reading,")]) == 540


def test_a_restart_goes_on_where_it_was(store, feed_to, target, data_dir):
    put(store, run_of(5, every_ms=5_000))
    upkeep(store, START + 5 * HOUR)
    first = Taker(*[])
    feed = feed_to(target, first)
    with closing(open_reader(data_dir)) as conn:
        feed._ready(conn)
        feed._one_round(conn)
    second = Taker()
    carried(feed_to(target, second))
    both = [line for line in first.lines + second.lines if line.startswith("reading,")]
    assert len(both) == len(set(both)) == 5 * 720 * 3


def test_another_store_under_the_same_name_is_copied_from_its_beginning(store, feed_to, target, data_dir):
    with store.transaction():
        store.append_journal([note("one")], START)
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    carried(feed_to(target, Taker()))
    marks = Marks(data_dir, target.key)
    marks.keep({Events.HASH: 1})
    marks.close()
    again = Taker()
    carried(feed_to(target, again))
    assert len([line for line in again.lines if line.startswith("reading,")]) == 540


def test_what_retention_took_before_it_was_sent_is_said(store, feed_to, target):
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    feed = feed_to(target, Taker())
    carried(feed)
    put(store, run_of(2, start=START + HOUR))
    upkeep(store, START + 3 * HOUR)
    retained(store, START + 2 * HOUR)
    carried(feed)
    assert feed.state()["gone"] == 540
    (row,) = [row for row in store.journal_after(0) if row.kind == POINTS_DROPPED]
    assert "minutes are sent" in row.body["said"]


@pytest.mark.parametrize("again", range(3))
def test_whatever_comes_late_the_copy_is_the_store(store, feed_to, target, again):
    """Batches in any order, upkeep and turns between them in any order: at the end both hold the same."""
    rng = random.Random(again)  # noqa: S311 - the order of a test
    taker = Taker()
    feed = feed_to(target, taker)
    readings = run_of(8, every_ms=30_000, seed=again)
    rng.shuffle(readings)
    batches = [readings[first : first + 90] for first in range(0, len(readings), 90)]
    for place, batch in enumerate(batches):
        put(store, batch)
        if rng.random() < 0.4:
            upkeep(store, START + int(8 * HOUR * place / len(batches)))
        if rng.random() < 0.6:
            feed.turn()
    upkeep(store, START + 8 * HOUR)
    carried(feed)
    points = {}
    for line in taker.lines:
        head, values, at = line.rsplit(" ", 2)
        points[head, at] = values
    wanted = rollup_lines(Heads("reading_1m", "sim-test"), outward.rollup_rows(store.conn, "rollup_1m", 0, 2**53))
    wanted += rollup_lines(Heads("reading_1h", "sim-test"), outward.rollup_rows(store.conn, "rollup_1h", 0, 2**53))
    for unit in UNITS:
        columns = history.readings(store.conn, unit, 0, 2**53)
        wanted += reading_lines(Heads("reading", "sim-test"), [unit] * len(columns), columns)
    assert sorted(f"{head} {values} {at}" for (head, at), values in points.items()) == sorted(wanted)


def test_a_store_that_is_put_back_while_it_runs_is_copied_anew(store, feed_to, target, data_dir, tmp_path):
    """The file is another one under the same name, with another journal and other readings."""
    with store.transaction():
        store.append_journal([note("one")], START)
    put(store, run_of(1))
    upkeep(store, START + HOUR)
    taker = Taker()
    feed = feed_to(target, taker)
    carried(feed)
    with open_store(tmp_path / "other", "sim-test") as other:
        with other.transaction():
            other.append_journal([note("another")], START)
        put(other, run_of(1, units=("dogwood",)))
        upkeep(other, START + HOUR)
    store.close()
    for path in (tmp_path / "other").iterdir():
        path.replace(data_dir / path.name)
    carried(feed)
    assert len([line for line in taker.lines if "unit=dogwood" in line and line.startswith("reading,")]) == 180
