"""The real server, a database and a target of its own for each test."""

import pytest

from collector.influx.feed import Feed
from collector.influx.marks import Marks
from collector.influx.sender import Sender
from collector.influx.target import Target
from collector.store import open_store
from collector.store.retention import Retention
from tests.influx_server import BOTH_TOKEN

FACILITY = "sim-test"


@pytest.fixture
def server(influx_server):
    """The server, with nothing in its way."""
    influx_server.front.faults.clear()
    influx_server.front.writes = 0
    return influx_server


@pytest.fixture
def target(server, tmp_path):
    """An empty bucket."""
    token = tmp_path / "token"
    token.write_text(BOTH_TOKEN + "\n")
    return Target(FACILITY, server.url, "", server.new_database() + "/autogen", token)


@pytest.fixture
def data_dir(tmp_path):
    """Where the store of a test lies."""
    return tmp_path / "data"


@pytest.fixture
def store(data_dir):
    """A store that is quick rather than safe from power cuts."""
    with open_store(data_dir, FACILITY, durable=False) as opened:
        yield opened


class Hand:
    """A clock that a test moves."""

    def __init__(self):
        self.s = 0.0

    def __call__(self):
        return self.s


@pytest.fixture
def hand():
    """Seconds that a test moves."""
    return Hand()


@pytest.fixture
def feed_to(store, data_dir, hand):
    """Makes a carrier for a target, or for something that takes lines in its place."""
    made = []

    def make(target, sender=None):
        marks = Marks(data_dir, target.key)
        sender = sender or Sender(target)
        feed = Feed(FACILITY, data_dir, sender, marks, now_ms=lambda: 1_780_000_000_000, monotonic_s=hand)
        made.append((marks, sender))
        return feed

    yield make
    for marks, sender in made:
        marks.close()
        if hasattr(sender, "close"):
            sender.close()


@pytest.fixture
def feed(feed_to, target):
    """The carrier to the empty bucket."""
    return feed_to(target)


def retained(store, until_ms, *, raw_days=0, minute_days=400, hour_days=3653):
    """Let retention take what is older, of what is kept for no days."""
    store.retention = Retention(raw_days=raw_days, minute_days=minute_days, hour_days=hour_days)
    while store.retain(until_ms):
        pass


def carried(feed, turns=50):
    """Turn until nothing waits."""
    for _ in range(turns):
        feed.turn()
        if feed.state()["waiting"] == 0:
            return
    raise AssertionError(f"still waiting: {feed.state()}")
