"""When wards are told: what changed, everything after each connect, and a heartbeat with a last word."""

import msgspec

from collector.notify.teller import HEARTBEAT_S, Teller, lost_payload
from collector.topics import heartbeat_topic, signal_topic

AT_MS = 1_790_000_000_000


class Line:
    """Keeps what is published; a test says when the broker confirms and when it is a new connection."""

    def __init__(self) -> None:
        self.connections = 1
        self.sent: list[tuple[str, dict, bool]] = []
        self.confirmed: list[int] = []

    def publish(self, topic: str, payload: bytes, *, retain: bool = True) -> int:
        self.sent.append((topic, msgspec.json.decode(payload), retain))
        return len(self.sent)

    def take_published(self) -> list[int]:
        done, self.confirmed = self.confirmed, []
        return done

    def topics(self) -> list[str]:
        topics = [topic for topic, _signal, _retain in self.sent]
        self.sent.clear()
        return topics


class Wards(dict[str, int]):
    """What each ward would be told: a number."""

    def make(self, ward: str) -> dict[str, object]:
        return {"at": "whenever", "seq": 1, "n": self[ward]}


def teller_of(line: Line, wards: Wards) -> Teller:
    return Teller("sim-t", wards, line, wards.make)


def test_every_ward_is_told_after_each_connect_and_then_only_what_changed():
    line, wards = Line(), Wards(a=1, b=1)
    teller = teller_of(line, wards)
    assert teller.tell([], AT_MS) == 2
    assert all(retain for _topic, _signal, retain in line.sent)
    assert line.topics() == [signal_topic("sim-t", "a"), signal_topic("sim-t", "b")]
    assert teller.tell([], AT_MS) == 0
    wards["a"] = 2
    assert teller.tell(["a"], AT_MS) == 1
    assert line.topics() == [signal_topic("sim-t", "a")]
    line.connections = 2
    assert teller.tell([], AT_MS) == 2


def test_a_change_that_changes_nothing_for_the_ward_is_not_sent():
    line, wards = Line(), Wards(a=1)
    teller = teller_of(line, wards)
    teller.tell([], AT_MS)
    assert teller.tell(["a"], AT_MS + 1) == 0


def test_told_is_when_the_broker_confirmed():
    line, wards = Line(), Wards(a=1, b=1)
    teller = teller_of(line, wards)
    teller.tell([], AT_MS)
    assert teller.told_ms == {}
    line.confirmed = [2, 99]  # 99: a heartbeat's
    teller.tell([], AT_MS + 5)
    assert teller.told_ms == {"b": AT_MS + 5}


def test_a_confirmation_of_an_earlier_connection_confirms_nothing():
    line, wards = Line(), Wards(a=1)
    teller = teller_of(line, wards)
    teller.tell([], AT_MS)
    line.connections = 2
    teller.tell([], AT_MS)
    line.confirmed = [1]
    teller.tell([], AT_MS + 5)
    assert teller.told_ms == {}


def test_the_heart_beats_at_its_pace_and_at_once_after_a_connect():
    line = Line()
    teller = teller_of(line, Wards())
    for now_s in (100.0, 100.1, 100.0 + HEARTBEAT_S - 0.1):
        teller.beat(now_s, AT_MS, {"store": "good"})
    assert [(topic, beat["state"], beat["store"], retain) for topic, beat, retain in line.sent] == [
        (heartbeat_topic("sim-t"), "live", "good", True)
    ]
    teller.beat(100.0 + HEARTBEAT_S, AT_MS, {})
    assert len(line.sent) == 2
    line.connections = 2
    teller.beat(100.1 + HEARTBEAT_S, AT_MS, {})
    assert len(line.sent) == 3


def test_the_last_words():
    line = Line()
    teller = teller_of(line, Wards())
    teller.halt(AT_MS, "the disk is full")
    teller.goodbye(AT_MS)
    assert [(beat["state"], beat.get("store")) for _topic, beat, _retain in line.sent] == [
        ("halted", "the disk is full"), ("stopped", None),
    ]  # fmt: skip
    assert msgspec.json.decode(lost_payload()) == {"v": 1, "state": "lost"}
