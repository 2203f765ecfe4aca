"""The loop of `sieveward deliver`: no carrier holds up another."""

import threading

import pytest

from collector.deliver import loop as loops
from collector.deliver.loop import Loop
from tests.waiting import wait_for


class Carried:
    """A carrier of numbers; `fails` turns fail first, and `held` lets every turn wait."""

    def __init__(self, waiting=3, fails=0, held=None):
        self.waiting, self.fails, self.held, self.turns = waiting, fails, held, 0

    def turn(self):
        self.turns += 1
        if self.held is not None:
            self.held.wait(30)
        if self.turns <= self.fails:
            raise OSError("gateway away")
        self.waiting = max(0, self.waiting - 1)

    def state(self):
        return {"waiting": self.waiting}


@pytest.fixture
def told():
    return []


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(loops, "TURN_S", 0.001)
    monkeypatch.setattr(loops, "RETRY_S", 0.001)
    monkeypatch.setattr(loops, "STATUS_S", 0.001)


def test_without_a_carrier_it_runs_and_says_so(told):
    stop = threading.Event()
    runs = threading.Thread(target=Loop({}, told.append).run, args=(stop,))
    runs.start()
    wait_for(lambda: told, 5, "a status document")
    stop.set()
    runs.join(5)
    assert not runs.is_alive()
    assert told[0]["carriers"] == {}


def test_a_carrier_that_hangs_or_fails_holds_up_no_other(told):
    stop, held, alive = threading.Event(), threading.Event(), []
    carriers = {"hangs": Carried(held=held), "fails": Carried(fails=10**9), "goes": Carried(waiting=50)}
    loop = Loop(carriers, told.append, alive=lambda: alive.append(1))
    runs = threading.Thread(target=loop.run, args=(stop,))
    runs.start()
    wait_for(lambda: carriers["goes"].waiting == 0, 10, "the carrier that goes")
    assert carriers["hangs"].turns == 1
    states = wait_for(
        lambda: told[-1]["carriers"] if told[-1]["carriers"]["fails"]["said"] else None, 5, "what it says"
    )
    assert states["fails"]["said"] == "OSError: gateway away"
    assert alive
    held.set()
    stop.set()
    runs.join(10)
    assert not runs.is_alive()


def test_the_watchdog_is_fed_until_a_turn_is_stuck(told):
    now_s, held, alive = [0.0], threading.Event(), []
    hangs = Carried(held=held)
    loop = Loop({"hangs": hangs}, told.append, alive=lambda: alive.append(1), monotonic_s=lambda: now_s[0])
    turns = threading.Thread(target=loop.once, args=(threading.Event(),))
    turns.start()
    wait_for(lambda: hangs.turns, 5, "its first turn")
    now_s[0] = loops.STUCK_S - 1
    loop.report()
    assert len(alive) == 1
    now_s[0] = loops.STUCK_S + 1
    loop.report()
    assert len(alive) == 1
    assert told[-1]["carriers"]["hangs"]["turning_s"] == loops.STUCK_S + 1
    held.set()
    turns.join(5)


def test_once_ends_when_nothing_waits(told):
    carriers = {"one": Carried(waiting=4), "two": Carried(waiting=2, fails=3)}
    seen: list[int] = []
    assert Loop(carriers, told.append).once(threading.Event(), seen.append) == {}
    assert [carriers["one"].turns, carriers["two"].turns] == [4, 5]
    assert seen[:4] == [3, 2, 1, 0]


def test_once_gives_up_a_carrier_that_gets_nowhere_and_says_why(told):
    now_s = iter(range(0, 100_000, 10))
    carriers = {"away": Carried(waiting=4, fails=10**9), "good": Carried(waiting=1)}
    loop = Loop(carriers, told.append, monotonic_s=lambda: float(next(now_s)))
    assert loop.once(threading.Event()) == {"away": "OSError: gateway away"}
    assert carriers["good"].waiting == 0
