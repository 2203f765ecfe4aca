"""A broker that is away for a day: 24 units at 10 s wait on disk, then drain in order beside what is live."""

import select
import threading
import time

import pytest

from collector.bridge.forward import Forwarder
from collector.bridge.spool import Spool
from collector.door import Door
from collector.live import Collector
from collector.reading import Reading
from collector.site import parse_site
from collector.store import open_store
from collector.store.history import open_reader, readings
from tests.waiting import wait_for

UNITS, STEP_MS, DAY_MS = 24, 10_000, 86_400_000
FACILITY = "sim-day"
SITE_TEXT = f'[facility]\nid="{FACILITY}"\n[[ward]]\nid="w"\n[[ward]]\nid="x"\n[[model]]\nid="m"\n' + "".join(
    f'[[unit]]\nid="u{i:02d}"\nmodel="m"\nward="{"wx"[i % 2]}"\n' for i in range(UNITS)
)
LIVE_S = 5.0  # a bound for any machine; a tenth of a second is usual (tests/bench/spool_drain.py)


class Shifted:
    """The machine's clock, a day behind until it is moved: a day passes in no time."""

    speed = 1.0
    shift_ms = -DAY_MS

    def now_ms(self):
        return time.time_ns() // 1_000_000 + self.shift_ms

    def monotonic_s(self):
        return time.monotonic() + (self.shift_ms + DAY_MS) / 1000

    def setting(self):
        return {"wall_ms": self.now_ms(), "at_ms": self.now_ms(), "speed": 1.0}


class House:
    """A collector in a thread of its own, and what its store holds."""

    def __init__(self, broker, data, clock):
        self.data, self._stop, self.collector = data, threading.Event(), None
        self._thread = threading.Thread(target=self._run, args=(broker, clock))
        self._thread.start()

    def ready(self):
        return self.collector is not None and self.collector.line.subscribed

    def _run(self, broker, clock):
        with open_store(self.data, FACILITY) as store:
            door = Door(broker.host, broker.port)
            self.collector = Collector(parse_site(SITE_TEXT), store, door, clock, monotonic_s=clock.monotonic_s)
            self.collector.run(self._stop)
            self.collector.close()

    def asked(self, ask):
        conn = open_reader(self.data)
        try:
            return ask(conn)
        finally:
            conn.close()

    def close(self):
        self._stop.set()
        self._thread.join(30)
        assert not self._thread.is_alive()


def moment(at_ms):
    return [Reading(f"u{unit:02d}", at_ms, 93.4, 4.0, 341.5, volts=229.8) for unit in range(UNITS)]


def turn(forwarder):
    forwarder.turn()
    if (sock := forwarder.socket) is not None:
        select.select([sock], [sock] if forwarder.wants_write else [], [], 0.02)
    return True


@pytest.fixture
def clock():
    return Shifted()


@pytest.fixture
def house(nats, tmp_path, clock):
    one = House(nats, tmp_path / "data", clock)
    yield one
    one.close()


@pytest.fixture
def forwarder(nats, tmp_path):
    spool = Spool(tmp_path / "spool" / "spool.sqlite3", 200_000_000)
    one = Forwarder(Door(nats.host, nats.port), FACILITY, "b1", spool)
    yield one
    one.close()
    spool.close()


@pytest.mark.slow
def test_a_day_without_a_broker_drains_in_order_while_what_is_live_is_seen_at_once(nats, house, forwarder, clock):
    wait_for(lambda: turn(forwarder) and forwarder.line.connected and house.ready(), 20, "the connections")
    first_ms = clock.now_ms()
    forwarder.offer(moment(first_ms))
    wait_for(lambda: turn(forwarder) and house.collector.counts["readings"] == UNITS, 20, "what came before")
    nats.kill()
    wait_for(lambda: turn(forwarder) and not forwarder.line.connected, 20, "the loss noticed")
    steps = pass_a_day(forwarder, first_ms)
    clock.shift_ms = 0
    nats.restart()
    wait_for(lambda: turn(forwarder) and forwarder.line.connected and house.ready(), 30, "both to return")
    seen_s = drain(forwarder, house, clock)
    total = UNITS * (1 + steps + len(seen_s))
    wait_for(lambda: turn(forwarder) and house.collector.counts["readings"] == total, 120, "everything in the store")
    check(house, first_ms, steps, len(seen_s))
    assert len(seen_s) >= 3, "too quick to have shown anything"
    assert max(seen_s) < LIVE_S, seen_s


def pass_a_day(forwarder, first_ms):
    """Offer a day of readings to a bridge whose broker is away; returns how many moments it had."""
    steps = DAY_MS // STEP_MS
    for step in range(1, steps + 1, 30):
        forwarder.offer([one for i in range(step, min(step + 30, steps + 1)) for one in moment(first_ms + i * STEP_MS)])
    assert (forwarder.spool.waiting, forwarder.spool.dropped) == (steps * UNITS, 0)
    assert steps * UNITS == 207_360
    return steps


def drain(forwarder, house, clock):
    """Offer live readings until the backlog is gone; returns how long each took to be known to the rules, in s."""
    seen_s = []
    while forwarder.draining:
        at_ms, began_s = clock.now_ms(), time.monotonic()
        forwarder.offer(moment(at_ms))
        wait_for(lambda at_ms=at_ms: turn(forwarder) and is_there(house, at_ms), 30, "live readings to be judged")
        seen_s.append(time.monotonic() - began_s)
    return seen_s


def is_there(house, at_ms):
    """Whether every unit's reading of this moment is known to the rules."""
    rows = list(house.collector.followed.engine.rows(f"u{unit:02d}" for unit in range(UNITS)))
    return all(row.last_ms == at_ms for row in rows)


def check(house, first_ms, steps, live):
    """Everything is there once; the backlog was late to the rules, and nobody was said to be silent."""
    for unit in range(UNITS):
        times = house.asked(lambda conn, unit=unit: readings(conn, f"u{unit:02d}", 0, 2**53).time_ms.tolist())
        assert len(times) == len(set(times)) == 1 + steps + live
        assert set(times) >= {first_ms + i * STEP_MS for i in range(steps + 1)}
    told = house.asked(
        lambda conn: conn.execute("SELECT condition, unit FROM journal WHERE kind = 'condition'").fetchall()
    )
    assert [row for row in told if row[0] == "readings-absent"] == []
    counts = house.collector.counts
    assert counts["quarantined"] == 0
    assert counts["late"] - counts["duplicates"] <= steps * UNITS  # on a slow machine the broker sends some again
