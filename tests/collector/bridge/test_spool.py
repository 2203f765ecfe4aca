"""What a bridge keeps: in order, bounded, through restarts, damage and disks that take nothing."""

import random
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from collector.bridge import spool_file
from collector.bridge.spool import RETRY_S, Spool
from collector.reading import Reading

T0 = 1_795_000_000_000
LIMIT = 8 * 1024 * 1024


def readings(first, count, unit="u1"):
    return [Reading(unit, T0 + 10_000 * i, 93.4, 4.0, lamp="green") for i in range(first, first + count)]


def file_of(spool):
    """The spool's file, which is open."""
    assert spool._file is not None
    return spool._file


@pytest.fixture
def path(tmp_path):
    return tmp_path / "spool" / "spool.sqlite3"


class Ticks:
    """Monotonic seconds, moved by hand."""

    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s


def test_oldest_first_each_once_until_done(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 5))
    first, second = spool.take(3), spool.take(9)
    assert [r for _, r in first + second] == readings(0, 5)
    assert spool.take(9) == []
    spool.done(one for one, _ in first)
    assert (spool.waiting, spool.untaken, spool.oldest_ms) == (2, 0, T0 + 30_000)
    spool.give_back(one for one, _ in second)
    assert spool.take(9) == second
    spool.close()


def test_what_was_not_done_is_there_after_a_restart(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 10))
    spool.done(one for one, _ in spool.take(4))
    spool.close()
    again = Spool(path, LIMIT)
    assert [r for _, r in again.take(99)] == readings(4, 6)
    again.close()


def test_readings_sent_by_another_way_are_not_taken_too(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 2))
    live = spool.put(readings(2, 1))
    spool.mark_taken(one for one, _ in live)
    assert [r for _, r in spool.take(9)] == readings(0, 2)
    spool.close()


def test_the_oldest_are_dropped_and_counted_and_the_count_is_kept(path):
    spool = Spool(path, LIMIT)
    total = 0
    while not spool.dropped:
        spool.put(readings(total, 2_000))
        total += 2_000
        size = sum(part.stat().st_size for part in path.parent.iterdir())
        assert size <= LIMIT
    dropped = spool.dropped
    assert spool.waiting == total - dropped
    assert spool.take(1)[0][1] == readings(dropped, 1)[0]
    assert spool.waiting > 50_000  # two days of 24 units at a minute, or six hours at 10 s, even in the smallest spool
    spool.close()
    assert Spool(path, LIMIT).dropped == dropped


def test_it_stays_within_its_bytes_for_ever(path):
    spool = Spool(path, LIMIT)
    for turn in range(30):
        spool.put(readings(turn * 10_000, 10_000))
        assert sum(part.stat().st_size for part in path.parent.iterdir()) <= LIMIT
    assert spool.waiting + spool.dropped == 300_000
    assert spool.take(10**6)[-1][1] == readings(299_999, 1)[0]
    spool.close()


def test_what_is_on_its_way_when_dropped_is_not_counted_as_lost(path, monkeypatch):
    monkeypatch.setattr(spool_file, "TRIM", 10)
    spool = Spool(path, LIMIT)
    file_of(spool)._pages = file_of(spool).used_pages + 2
    spool.put(readings(0, 5))
    spool.take(5)
    spool.put(readings(5, 200))
    assert spool.dropped
    assert spool.waiting + spool.dropped == 200
    spool.close()


class FullDisk:
    """Stands in for the disk: SQLite may not make the file longer, which is what a full disk does to it."""

    def __init__(self, spool):
        self.conn = file_of(spool)._conn

    def fill(self):
        self.conn.execute(f"PRAGMA max_page_count={self.conn.execute('PRAGMA page_count').fetchone()[0]}")

    def free(self):
        self.conn.execute("PRAGMA max_page_count=1000000")


def test_a_full_disk_leaves_the_newest_in_memory_and_says_so(path):
    ticks = Ticks()
    spool = Spool(path, LIMIT, memory_max=500, monotonic_s=ticks)
    spool.put(readings(0, 10))
    disk = FullDisk(spool)
    disk.fill()
    spool.put(readings(10, 600))
    assert "the disk is full; free some space there" in spool.said
    assert (spool.waiting, spool.dropped) == (510, 100)
    assert [r for _, r in spool.take(12)] == readings(0, 10) + readings(110, 2)
    disk.free()
    ticks.now_s += RETRY_S
    spool.put(readings(610, 1))
    assert spool.said == ""
    assert (spool.waiting, spool.dropped) == (511, 100)
    spool.close()
    again = Spool(path, LIMIT)
    assert [r for _, r in again.take(999)] == readings(0, 10) + readings(110, 501)
    assert again.dropped == 100
    again.close()


def test_a_folder_that_cannot_be_written_is_said_and_tried_again(tmp_path):
    ticks = Ticks()
    (tmp_path / "spool").write_text("a file where the folder should be")
    spool = Spool(tmp_path / "spool" / "spool.sqlite3", LIMIT, memory_max=3, monotonic_s=ticks)
    assert "spool" in spool.said
    spool.put(readings(0, 5))
    flight = spool.take(2)
    assert [r for _, r in flight] == readings(2, 2)
    (tmp_path / "spool").unlink()
    ticks.now_s += RETRY_S
    spool.put(readings(5, 1))
    assert spool.said == ""
    spool.done(one for one, _ in flight)  # ids from before there was a file touch nothing in it
    assert [r for _, r in spool.take(9)] == readings(2, 4)
    assert (spool.waiting, spool.dropped) == (4, 2)
    spool.close()


def test_a_read_only_spool_is_read_and_what_comes_stays_in_memory(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 3))
    file_of(spool)._conn.execute("PRAGMA query_only=ON")
    spool.put(readings(3, 2))
    assert "mount the disk for writing" in spool.said
    assert [r for _, r in spool.take(9)] == readings(0, 5)
    spool.close()


@pytest.mark.parametrize(
    "damage", [b"this was never a spool, but it is long enough to look like a file" * 100, b"\0" * 9999]
)
def test_a_damaged_spool_is_set_aside_said_and_a_new_one_begun(path, damage):
    path.parent.mkdir()
    path.write_bytes(damage)
    spool = Spool(path, LIMIT)
    assert "set aside" in spool.aside
    assert (path.parent / "damaged-spool.sqlite3").read_bytes() == damage
    spool.put(readings(0, 2))
    assert spool.said == ""
    assert [r for _, r in spool.take(9)] == readings(0, 2)
    spool.close()


def test_damage_met_at_work_counts_what_waited_as_dropped(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 3_000))
    spool.close()
    pages = bytearray(path.read_bytes())
    spool = Spool(path, LIMIT)
    conn = file_of(spool)._conn
    conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    conn.execute("PRAGMA cache_size=0")
    pages[4096 * 4 : 4096 * 40] = random.Random(7).randbytes(4096 * 36)  # noqa: S311 - no secret
    path.write_bytes(pages)
    conn.execute("PRAGMA shrink_memory")
    while spool.take(500):
        pass
    spool.put(readings(3_000, 5))
    spool.put(readings(3_005, 5))
    assert spool.waiting + spool.dropped >= 3_010 - 500
    assert "set aside" in spool.aside or spool.dropped
    spool.close()


def test_a_value_that_changed_on_the_disk_is_never_given_out(path):
    spool = Spool(path, LIMIT)
    spool.put(readings(0, 3))
    file_of(spool)._conn.execute("UPDATE waiting SET body = cast(replace(body, x'40', x'41') AS BLOB) WHERE id = 2")
    assert [r for _, r in spool.take(9)] == [*readings(0, 1), *readings(2, 1)]
    assert (spool.dropped, spool.waiting) == (1, 2)
    spool.close()


def test_a_log_that_a_power_cut_tore_gives_what_was_whole(path, tmp_path):
    """A copy of file and log, cut at any byte of the log, gives a beginning of what was put, change by change."""
    spool = Spool(path, LIMIT)
    for turn in range(10):
        spool.put(readings(turn * 10, 10))
    wal = path.with_name("spool.sqlite3-wal").read_bytes()
    whole = path.read_bytes()
    rng = random.Random(20261125)  # noqa: S311 - no secret
    seen = set()
    for case in range(40):
        torn = tmp_path / f"torn-{case}" / "spool.sqlite3"
        torn.parent.mkdir()
        torn.write_bytes(whole)
        cut = rng.randrange(len(wal) + 1)
        torn.with_name("spool.sqlite3-wal").write_bytes(wal[:cut] + rng.randbytes(rng.randrange(5_000)))
        again = Spool(torn, LIMIT)
        found = [r for _, r in again.take(999)]
        assert found == readings(0, len(found))
        assert len(found) % 10 == 0
        assert not again.aside
        seen.add(len(found))
        again.close()
    assert len(seen) > 3
    spool.close()


def test_a_second_bridge_with_the_same_spool_is_told(path):
    one, two = Spool(path, LIMIT), None
    one.put(readings(0, 1))
    two = Spool(path, LIMIT)
    assert "second bridge" in two.said
    one.close()
    two.close()


# -- a bridge without a clock ------------------------------------------------------------------------------------------


def undated(first, count):
    return [Reading("u1", 5_000 + 10_000 * i, 93.0) for i in range(first, first + count)]


def test_what_has_no_moment_yet_waits_and_is_dated_in_its_place(path):
    spool = Spool(path, LIMIT, boot="a")
    spool.put(undated(0, 3))
    assert spool.take(9) == []
    assert (spool.undated, spool.oldest_ms) == (3, None)
    spool.put(readings(10, 1))
    assert len(spool.take(9)) == 1
    assert spool.date(T0) == 3
    assert [r.time_ms for _, r in spool.take(9)] == [T0 + 5_000, T0 + 15_000, T0 + 25_000]
    assert spool.undated == 0
    spool.close()


def test_it_can_still_be_dated_after_a_restart_of_the_program_but_not_of_the_machine(path):
    spool = Spool(path, LIMIT, boot="a")
    spool.put(undated(0, 3))
    spool.close()
    again = Spool(path, LIMIT, boot="a")
    assert again.undated == 3
    again.close()
    later = Spool(path, LIMIT, boot="b")
    assert (later.undated, later.waiting, later.dropped) == (0, 0, 3)
    later.close()


# -- any order of doing things -----------------------------------------------------------------------------------------


class AnyOrder(RuleBasedStateMachine):
    """Against a list in memory: nothing is lost or doubled whatever happens, restarts and a full disk included."""

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "spool.sqlite3"
        self.ticks = Ticks()
        self.open()
        self.next, self.waiting = 0, []

    def open(self):
        self.spool = Spool(self.path, LIMIT, monotonic_s=self.ticks)
        self.taken = {}

    @rule(count=st.integers(1, 7))
    def put(self, count):
        new = readings(self.next, count)
        self.spool.put(new)
        self.waiting += new
        self.next += count

    @rule(count=st.integers(1, 9))
    def take(self, count):
        rows = self.spool.take(count)
        out = [r.time_ms for r in self.taken.values()]
        expected = [r for r in self.waiting if r.time_ms not in out][:count]
        assert [r for _, r in rows] == expected
        self.taken |= dict(rows)

    @rule(data=st.data())
    def done(self, data):
        ids = data.draw(st.sets(st.sampled_from(sorted(self.taken)))) if self.taken else set()
        self.spool.done(ids)
        gone = [self.taken.pop(one) for one in ids]
        self.waiting = [r for r in self.waiting if r not in gone]

    @rule(data=st.data())
    def give_back(self, data):
        ids = data.draw(st.sets(st.sampled_from(sorted(self.taken)))) if self.taken else set()
        self.spool.give_back(ids)
        for one in ids:
            del self.taken[one]

    @rule()
    def disk_fills(self):
        FullDisk(self.spool).fill()

    @rule()
    def disk_is_freed(self):
        FullDisk(self.spool).free()
        self.ticks.now_s += RETRY_S

    @rule()
    def restart(self):
        FullDisk(self.spool).free()
        self.ticks.now_s += RETRY_S
        self.spool.close()
        self.open()

    @invariant()
    def counts_agree(self):
        assert self.spool.waiting == len(self.waiting)
        assert self.spool.untaken == len(self.waiting) - len(self.taken)
        assert self.spool.oldest_ms == (self.waiting[0].time_ms if self.waiting else None)
        assert self.spool.dropped == 0

    def teardown(self):
        self.spool.close()
        self.folder.cleanup()


AnyOrder.TestCase.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)
TestAnyOrder = AnyOrder.TestCase


# -- kill -9 -----------------------------------------------------------------------------------------------------------

_CHILD = """
import sys
from pathlib import Path
from collector.bridge.spool import Spool
from collector.reading import Reading
spool, at = Spool(Path(sys.argv[1]), 8_388_608), int(sys.argv[2])
while True:
    spool.put([Reading("u1", 1_795_000_000_000 + 10_000 * i, 93.4) for i in range(at, at + 7)])
    at += 7
    sys.stdout.write(f"{at}\\n")
    sys.stdout.flush()
"""


def test_what_was_put_survives_kill_9_at_any_moment(path):
    rng, at = random.Random(1125), 0  # noqa: S311 - no secret
    for _ in range(8):
        child = subprocess.Popen([sys.executable, "-c", _CHILD, str(path), str(at)], stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None
        many = rng.randrange(1, 60)
        said = [child.stdout.readline() for _ in range(many)]
        child.kill()
        rest = child.stdout.read()
        child.wait()
        child.stdout.close()
        lines = ("".join(said) + rest).split("\n")[:-1]
        at = int(lines[-1])
        spool = Spool(path, LIMIT)
        found = [r.time_ms for _, r in spool.take(10**6)]
        assert found == [T0 + 10_000 * i for i in range(len(found))]
        assert len(found) >= at  # one more change may have been whole that was not told any more
        at = len(found)
        spool.close()


def test_sqlite_is_told_to_be_durable(path):
    spool = Spool(path, LIMIT)
    asked = file_of(spool)._conn.execute
    assert asked("PRAGMA synchronous").fetchone() == (2,)  # FULL: an fsync at each change
    assert asked("PRAGMA journal_mode").fetchone() == ("wal",)
    spool.close()
