"""A bridge at work: what is read is kept together, dated when the clock is known, and the bridge says how it is."""

import json
import threading
from typing import Any

import pytest

from collector.bridge.forward import Forwarder
from collector.bridge.run import FLUSH_S, WORD_S, Bridge
from collector.bridge.source import PortState
from collector.bridge.spool import Spool
from collector.bridge.timekeeper import Timekeeper
from collector.door import Door
from collector.reading import Reading
from collector.watchdog import Watchdog
from tests.waiting import free_port

NOW = 1_795_000_000_000


class Ticks:
    now_s = 1_000.0

    def __call__(self):
        return self.now_s


class OneUnit:
    """A source that gives what a test put into it, at the bridge's own time."""

    def __init__(self):
        self.purities, self.said = [], ""

    def turn(self, now_ms):
        found, self.purities = [Reading("u1", now_ms, purity) for purity in self.purities], []
        return found

    def filenos(self):
        return []

    def wait_s(self):
        return 0.0

    def state(self):
        return [PortState(path="/dev/a", profile="p", open=not self.said, stale=False, said=self.said)]

    def close(self):
        pass


class Line:
    """A broker's line that is always there, for what the bridge says of itself."""

    connected, connections, socket, wants_write = True, 1, None, False

    def __init__(self):
        self.words = []

    def turn(self):
        pass

    def take_acked(self):
        return []

    def publish(self, topic, payload, *, retain=False):
        if topic.endswith("/state"):
            assert retain
            self.words.append(json.loads(payload))
        return len(self.words) + 1_000

    def close(self):
        pass


class Desk:
    """A bridge with hand-moved clocks."""

    def __init__(self, folder, wall_ms=NOW):
        self.wall_ms, self.start_ms, self.ticks, self.source = wall_ms, 60_000, Ticks(), OneUnit()
        self.spool = Spool(folder / "spool.sqlite3", 10_000_000, boot="a", monotonic_s=self.ticks)
        keeper = Timekeeper(wall_ms=lambda: self.wall_ms, start_ms=lambda: self.start_ms, trusted=True)
        forwarder = Forwarder(Door("127.0.0.1", free_port()), "f", "b1", self.spool, monotonic_s=self.ticks)
        self.bridge = Bridge(self.source, forwarder, keeper, monotonic_s=self.ticks, watchdog=Watchdog({}))

    def connect(self):
        line: Any = Line()
        self.bridge.forwarder.line = line
        return line

    def turn(self, *purities, after_s=0.0):
        self.ticks.now_s += after_s
        self.wall_ms += int(after_s * 1000)
        self.start_ms += int(after_s * 1000)
        self.source.purities = list(purities)
        self.bridge.turn()


@pytest.fixture
def desk(tmp_path):
    one = Desk(tmp_path)
    yield one
    one.bridge.close()


def test_readings_that_come_close_together_are_written_together(desk):
    desk.turn(93.0)
    desk.turn(94.0, after_s=FLUSH_S / 2)
    assert desk.spool.waiting == 0
    desk.turn(after_s=FLUSH_S / 2)
    assert [(r.time_ms - NOW, r.purity_pct) for _, r in desk.spool.take(9)] == [(0, 93.0), (250, 94.0)]


def test_what_was_read_is_kept_when_it_is_told_to_stop(desk, tmp_path):
    desk.turn(93.0)
    stop = threading.Event()
    stop.set()
    desk.bridge.run(stop)
    again = Spool(tmp_path / "spool.sqlite3", 10_000_000)
    assert again.waiting == 1
    again.close()


def test_a_bridge_whose_clock_is_not_known_keeps_and_dates_later(tmp_path):
    desk = Desk(tmp_path, wall_ms=60_000)
    desk.turn(93.0)
    desk.turn(94.0, after_s=10.0)
    assert desk.spool.undated == 2
    assert "set it" in desk.bridge.word(desk.source.state()).clock
    desk.wall_ms = NOW
    desk.turn(95.0, after_s=1.0)
    desk.turn(after_s=1.0)
    assert [(r.time_ms - NOW - 1_000, r.purity_pct) for _, r in desk.spool.take(9)] == [
        (-11_000, 93.0), (-1_000, 94.0), (0, 95.0)
    ]  # fmt: skip
    desk.bridge.close()


@pytest.mark.parametrize("by_ms", [3_600_000, -3_600_000])
def test_after_a_jump_of_the_clock_readings_go_by_the_new_time_and_it_is_said(desk, by_ms):
    desk.turn(93.0)
    desk.wall_ms += by_ms
    desk.turn(94.0, after_s=1.0)
    assert [r.time_ms - NOW for _, r in desk.spool.take(9)] == [0, 1_000 + by_ms]
    assert f"{by_ms / 1000:+.1f} s" in desk.bridge.word([]).clock


def test_it_says_how_it_is_at_a_connect_and_when_something_is_new(desk):
    line = desk.connect()
    desk.turn()
    port = {"path": "/dev/a", "open": True, "said": "", "silent": [], "notes": []}
    assert line.words == [
        {"v": 1, "waiting": 0, "dropped": 0, "undated": 0, "oldest": None, "said": "", "clock": "", "ports": [port]}
    ]
    desk.turn(after_s=WORD_S[1] + 1)
    assert len(line.words) == 1, "nothing is new"
    desk.source.said = "no such device"
    desk.turn(after_s=WORD_S[0])
    assert line.words[-1]["ports"] == [
        {"path": "/dev/a", "open": False, "said": "no such device", "silent": [], "notes": []}
    ]
    line.connections = 2
    desk.turn()
    assert len(line.words) == 3
