"""What is said of the broker: once when it changes, again while it goes on, and an end that comes near."""

from types import SimpleNamespace
from typing import Any, cast

import pytest

from collector.door import Door
from collector.intake.line_watch import REPEAT_S, LineWatch
from collector.intake.subscriber import CONNECTED, CONNECTING, REFUSED, Subscriber

NOW_S = 1_790_000_000.0
DAY_S = 86_400.0


class Bench:
    """A line whose state a test sets, a clock, and what was logged."""

    def __init__(self, monkeypatch) -> None:
        self.line: Any = SimpleNamespace(
            state=CONNECTING, said="not tried yet", settled=True, certificate_until_s=None, door=Door("b", 8883)
        )
        self.now_s, self.told = 0.0, list[tuple[str, str]]()
        monkeypatch.setattr("collector.log.say", lambda name, **fields: self.told.append((name, fields["said"])))
        line = cast("Subscriber", self.line)
        self.watch = LineWatch(line, 7, lambda: self.now_s, lambda: NOW_S + self.now_s)

    def set(self, state: str, said: str, *, settled: bool = True, after_s: float = 1.0) -> None:
        self.now_s += after_s
        self.line.state, self.line.said, self.line.settled = state, said, settled
        self.watch.look(int(self.now_s * 1000))


@pytest.fixture
def bench(monkeypatch):
    return Bench(monkeypatch)


def test_what_changes_is_said_once(bench):
    for _ in range(5):
        bench.set(REFUSED, "no account")
    bench.set(CONNECTED, "connected")
    bench.set(CONNECTED, "connected")
    assert bench.told == [("broker", "no account"), ("broker", "connected")]
    assert bench.watch.since_ms == 6_000


def test_an_attempt_under_way_is_not_news_and_another_reason_is(bench):
    bench.set(CONNECTING, "no broker")
    bench.set(CONNECTING, "answers, but not yet", settled=False)
    bench.set(CONNECTING, "no broker")
    bench.set(CONNECTING, "it wants TLS")
    assert [said for _, said in bench.told] == ["no broker", "it wants TLS"]


def test_what_goes_on_being_wrong_is_said_again(bench):
    bench.set(REFUSED, "expired")
    bench.set(REFUSED, "expired", after_s=REPEAT_S - 1)
    assert len(bench.told) == 1
    bench.set(REFUSED, "expired", after_s=2)
    assert [said for _, said in bench.told] == ["expired", "expired"]
    bench.set(CONNECTED, "connected")
    bench.set(CONNECTED, "connected", after_s=2 * REPEAT_S)
    assert len(bench.told) == 3


@pytest.mark.parametrize(("days", "said"), [(46, 0), (44, 1), (-2, 1)])
def test_the_end_of_a_certificate_is_said_in_time(bench, days, said):
    bench.line.certificate_until_s = NOW_S + days * DAY_S
    bench.set(CONNECTED, "connected")
    bench.set(CONNECTED, "connected", after_s=3_600)
    assert len(bench.watch.said) == said
    assert len([name for name, _ in bench.told if name == "certificate"]) == said
    assert all("--renew" in words for words in bench.watch.said)


def test_without_tls_there_is_no_end(bench):
    bench.set(CONNECTED, "connected")
    assert bench.watch.said == []
