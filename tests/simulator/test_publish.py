"""A fleet on a real broker: bridges online and offline, silent without a goodbye, and a backlog when it was away."""

import threading
from contextlib import contextmanager

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import ManualClock
from collector.door import Door
from collector.senml import decode_pack
from simulator.publish import Publisher, PublishError, publish
from tests.simulator.fleets import MINUTE, T0, fault, fleet, site, unit
from tests.waiting import free_port, wait_for

FACILITY = "sim-test"
LINKS = "oxygen/v1/sim-test/bridge/"
TWO_BRIDGES = '[[bridge]]\nid = "east"\nunits = ["u1", "u2"]\n[[bridge]]\nid = "west"\nunits = ["u3"]\n'
NO_LOSS = "[sensors]\nmissing_share = 0\nmissing_value_share = 0\n"
THREE = site(unit("u1"), unit("u2"), unit("u3", "b"))


class Listener:
    """A subscriber that keeps what it hears: packs by unit, and every word of the bridges' links."""

    def __init__(self, broker):
        self.packs, self.links = {}, {}
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, "listener", clean_session=False)
        self.client.on_connect = lambda client, *_: client.subscribe("oxygen/v1/#", 1)
        self.subscribed = threading.Event()
        self.client.on_subscribe = lambda *_: self.subscribed.set()
        self.client.on_message = self._heard
        self.client.reconnect_delay_set(1, 1)
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()

    def _heard(self, _client, _data, message):
        name = message.topic.split("/")[4]
        if message.topic.startswith(LINKS):
            self.links.setdefault(name, []).append(message.payload.decode())
        else:
            self.packs.setdefault(name, []).append(decode_pack(message.payload, 0, FACILITY, name))

    def readings(self, unit_id):
        """What has been heard of a unit, each moment once, in order."""
        heard = {reading.time_ms: reading for pack in self.packs.get(unit_id, []) for reading in pack}
        return [heard[moment] for moment in sorted(heard)]


@pytest.fixture
def listener(broker):
    one = Listener(broker)
    assert one.subscribed.wait(10)
    yield one
    one.client.disconnect()
    one.client.loop_stop()


@contextmanager
def playing(a_fleet, host, port, clock):
    """A publisher in its own thread, stopped at the end."""
    publisher, stop = Publisher(a_fleet, Door(host, port), clock), threading.Event()
    thread = threading.Thread(target=publisher.run, args=(stop,))
    thread.start()
    try:
        yield publisher
    finally:
        stop.set()
        thread.join(20)
        assert not thread.is_alive()


def expected(scenario, until_ms, unit_id):
    return [r for r in fleet(scenario, THREE).readings(T0, until_ms) if r.unit == unit_id]


def test_readings_come_at_their_time_through_their_bridges(broker, listener):
    clock = ManualClock(T0)
    scenario = TWO_BRIDGES + NO_LOSS
    with playing(fleet(scenario, THREE), broker.host, broker.port, clock):
        wait_for(lambda: set(listener.links) == {"east", "west"}, 15, "both bridges online")
        clock.advance(35_000)
        wait_for(lambda: len(listener.readings("u3")) >= 3, 15, "readings")
        assert max(r.time_ms for r in listener.readings("u1")) < T0 + 35_000
        clock.advance(5 * MINUTE)
        until = T0 + 335_000
        wait_for(lambda: listener.readings("u1") == expected(scenario, until, "u1"), 15, "all of u1")
        wait_for(lambda: listener.readings("u3") == expected(scenario, until, "u3"), 15, "all of u3")
    wait_for(lambda: [words[-1] for words in listener.links.values()] == ["offline"] * 2, 15, "a goodbye")
    assert listener.links == {"east": ["online", "offline"], "west": ["online", "offline"]}


def test_the_links_word_is_retained(broker):
    with playing(fleet(TWO_BRIDGES, THREE), broker.host, broker.port, ManualClock(T0)) as publisher:
        wait_for(lambda: all(line.connected and line.idle for line in publisher.lines), 15, "bridges online")
        late = Listener(broker)
        try:
            wait_for(lambda: late.links == {"east": ["online"], "west": ["online"]}, 15, "the retained words")
        finally:
            late.client.disconnect()
            late.client.loop_stop()


@pytest.mark.parametrize("keeps", [False, True])
def test_a_silent_bridge_drops_without_a_goodbye_and_comes_back(broker, listener, keeps):
    clock = ManualClock(T0)
    scenario = TWO_BRIDGES + NO_LOSS + fault("bridge-silent", "5m", length="10m", bridge="east", backlog=keeps)
    with playing(fleet(scenario, THREE), broker.host, broker.port, clock) as publisher:
        wait_for(lambda: set(listener.links) == {"east", "west"}, 15, "both bridges online")
        clock.advance(4 * MINUTE)
        wait_for(lambda: len(listener.readings("u1")) == 24, 15, "the time before")
        wait_for(lambda: all(line.idle for line in publisher.lines), 15, "acknowledgements")
        clock.advance(3 * MINUTE)
        wait_for(lambda: listener.links["east"] == ["online", "offline"], 15, "the will")
        clock.advance(7 * MINUTE)
        wait_for(lambda: len(listener.readings("u3")) == 84, 15, "the other bridge going on")
        assert max(r.time_ms for r in listener.readings("u1")) < T0 + 7 * MINUTE
        clock.advance(2 * MINUTE)
        wait_for(lambda: listener.links["east"] == ["online", "offline", "online"], 15, "its return")
        wait_for(lambda: listener.readings("u1") == expected(scenario, T0 + 16 * MINUTE, "u1"), 15, "what is due")
    assert len(listener.readings("u1")) == (96 if keeps else 36)
    wait_for(lambda: listener.links["west"] == ["online", "offline"], 15, "the other bridge's goodbye")
    longest = max(len(pack) for pack in listener.packs["u1"])
    assert (longest >= 42) == keeps  # a backlog comes in one pack


def test_a_broker_that_goes_away_is_waited_for_and_nothing_is_lost(nats):
    listener, clock = Listener(nats), ManualClock(T0)
    scenario = TWO_BRIDGES + NO_LOSS
    try:
        assert listener.subscribed.wait(10)
        with playing(fleet(scenario, THREE), nats.host, nats.port, clock) as publisher:
            clock.advance(MINUTE)
            wait_for(lambda: len(listener.readings("u1")) == 6, 15, "the time before")
            nats.kill()
            wait_for(lambda: not any(line.connected for line in publisher.lines), 15, "the loss noticed")
            clock.advance(30 * MINUTE)
            wait_for(lambda: not publisher._behind(), 15, "the fleet going on")
            nats.restart()
            due = {name: expected(scenario, T0 + 31 * MINUTE, name) for name in ("u1", "u2", "u3")}
            wait_for(lambda: {name: listener.readings(name) for name in due} == due, 30, "all readings")
            assert publisher.published.dropped == 0
        assert max(len(pack) for pack in listener.packs["u1"]) > 50
    finally:
        listener.client.disconnect()
        listener.client.loop_stop()


def test_it_begins_before_the_broker_does_and_keeps_no_more_than_it_may(monkeypatch):
    monkeypatch.setattr("simulator.bridge_line.WAITING_MAX", 50)
    clock = ManualClock(T0)
    with playing(fleet(NO_LOSS, THREE), "127.0.0.1", free_port(), clock) as publisher:
        clock.advance(10 * MINUTE)
        wait_for(lambda: publisher.published.dropped == 130, 15, "the oldest dropped and counted")
    assert publisher.published == (0, 0, 130)


def test_a_past_is_sent_at_once(broker, listener):
    clock, stop = ManualClock(T0 + 20 * MINUTE), threading.Event()
    one = fleet(NO_LOSS, THREE)
    thread = threading.Thread(
        target=publish, args=(one, Door(broker.host, broker.port), clock, stop), kwargs={"since_ms": T0}
    )
    thread.start()
    try:
        wait_for(lambda: listener.readings("u2") == expected(NO_LOSS, T0 + 20 * MINUTE, "u2"), 15, "the past")
    finally:
        stop.set()
        thread.join(20)


def test_a_real_hospital_is_never_played():
    real = site(unit("u1"), facility="lakeside")
    with pytest.raises(PublishError, match=r"'lakeside' is not a simulator's.*begins with 'sim-'"):
        publish(fleet("", real), Door("127.0.0.1", 1), ManualClock(T0), threading.Event())
