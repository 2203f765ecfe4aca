"""Time on a bridge: clocks that are right, that begin in 1970 or 2000, that are set late, that jump."""

import pytest

from collector.bridge.timekeeper import Timekeeper, boot_id, kernel_says_set, since_start_ms
from collector.reading import EARLIEST_MS

NOW = 1_795_000_000_000
HOUR = 3_600_000


class Machine:
    """A clock and a time since the start, moved by hand."""

    def __init__(self, wall_ms, start_ms=60_000):
        self.wall_ms, self.start_ms, self.is_set = wall_ms, start_ms, False

    def passes(self, ms):
        self.wall_ms += ms
        self.start_ms += ms

    def keeper(self, *, trusted):
        return Timekeeper(
            wall_ms=lambda: self.wall_ms, start_ms=lambda: self.start_ms, trusted=trusted, is_set=lambda: self.is_set
        )


def test_a_clock_with_a_battery_is_believed():
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=True)
    assert (keeper.known, keeper.now_ms(), keeper.said) == (True, NOW, "")
    machine.passes(HOUR)
    assert keeper.turn() is None
    assert keeper.now_ms() == NOW + HOUR


@pytest.mark.parametrize("began", [0, 946_684_800_000])
@pytest.mark.parametrize("trusted", [True, False])
def test_a_clock_that_begins_long_ago_is_not_known_until_it_is_set(began, trusted):
    machine = Machine(began + 60_000)
    keeper = machine.keeper(trusted=trusted)
    assert not keeper.known
    assert "set it, or give the bridge a time server" in keeper.said
    assert keeper.now_ms() == 60_000 < EARLIEST_MS
    machine.passes(HOUR)
    keeper.turn()
    assert keeper.now_ms() == 60_000 + HOUR
    machine.wall_ms = NOW
    keeper.turn()
    assert (keeper.known, keeper.now_ms(), keeper.said) == (True, NOW, "")
    assert keeper.offset_ms + 60_000 == NOW - HOUR  # what was read an hour ago is dated exactly so


def test_a_board_that_goes_on_where_it_was_switched_off_waits_for_the_kernels_word():
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=False)
    assert not keeper.known
    assert "no time server answers" in keeper.said
    machine.is_set = True
    machine.passes(11_000)
    keeper.turn()
    assert (keeper.known, keeper.now_ms()) == (True, NOW + 11_000)


def test_or_for_a_jump():
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=False)
    machine.wall_ms += 10 * HOUR
    keeper.turn()
    assert (keeper.known, keeper.now_ms()) == (True, NOW + 10 * HOUR)


@pytest.mark.parametrize("by", [5_000, HOUR, -5_000, -HOUR])
def test_a_jump_of_a_known_clock_is_followed_and_said(by):
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=True)
    machine.wall_ms += by
    assert keeper.turn() == by
    assert f"{by / 1000:+.1f} s" in keeper.said
    assert keeper.now_ms() == NOW + by


def test_small_corrections_are_followed_in_silence():
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=True)
    machine.wall_ms += 40
    assert keeper.turn() is None
    assert (keeper.now_ms(), keeper.said) == (NOW + 40, "")


def test_a_known_clock_that_falls_back_to_the_beginning_is_not_followed():
    machine = Machine(NOW)
    keeper = machine.keeper(trusted=True)
    machine.passes(1_000)
    machine.wall_ms = 0
    assert keeper.turn() is None
    assert keeper.now_ms() == NOW + 1_000
    assert "the clock shows 1970-01-01" in keeper.said


def test_this_machine_answers():
    assert isinstance(kernel_says_set(), bool)
    assert 0 < since_start_ms() < EARLIEST_MS
    assert boot_id() == boot_id()
