"""Up to when silence can be judged: not beyond what has come in, and not never."""

import pytest

from collector.horizon import BEHIND_MS, BLIND_S, LONGEST_S, QUIET_S, SETTLE_S, Horizon
from collector.rules.limits import LIMITS

NOW_MS = 1_790_000_000_000
HOUR_MS = 3_600_000
CLOCK_MS = NOW_MS - int(SETTLE_S * 1000)


def test_behind_is_well_within_a_silence():
    """A reading 60 s apart from its unit's next one must still fit between `behind` and the silence's limit."""
    assert LIMITS.absent_ms >= BEHIND_MS * 2


def test_nothing_is_known_before_anything_has_come():
    assert Horizon(1.0).known_until(1, 100.0, NOW_MS, None) is None


def test_in_a_backlog_time_goes_on_as_far_as_readings_have_come():
    horizon = Horizon(1.0)
    first = horizon.known_until(1, 100.0, NOW_MS, NOW_MS - HOUR_MS)
    assert first == NOW_MS - HOUR_MS + BEHIND_MS
    assert horizon.known_until(1, 100.1, NOW_MS, None) is None
    assert horizon.known_until(1, 100.2, NOW_MS, NOW_MS - HOUR_MS // 2) == NOW_MS - HOUR_MS // 2 + BEHIND_MS
    assert not horizon.caught_up


def test_it_never_goes_back():
    horizon = Horizon(1.0)
    horizon.known_until(1, 100.0, NOW_MS, NOW_MS - HOUR_MS)
    assert horizon.known_until(1, 100.1, NOW_MS, NOW_MS - 2 * HOUR_MS) == NOW_MS - HOUR_MS + BEHIND_MS


def test_readings_of_now_end_the_backlog():
    horizon = Horizon(1.0)
    assert horizon.known_until(1, 100.0, NOW_MS, NOW_MS - 10_000) == CLOCK_MS
    assert horizon.caught_up
    assert horizon.known_until(1, 100.1, NOW_MS, NOW_MS - HOUR_MS) == CLOCK_MS, "a late pack does not stop the clock"


def test_quiet_ends_it_too():
    horizon = Horizon(1.0)
    horizon.known_until(1, 100.0, NOW_MS, NOW_MS - HOUR_MS)
    assert horizon.known_until(1, 100.0 + QUIET_S - 0.01, NOW_MS, None) is None
    assert horizon.known_until(1, 100.0 + QUIET_S, NOW_MS, None) == CLOCK_MS


def test_slow_clocks_do_not_hide_silence_for_ever():
    horizon = Horizon(1.0)
    for tenth in range(int(LONGEST_S * 10)):
        assert horizon.known_until(1, 100.0 + tenth / 10, NOW_MS, NOW_MS - HOUR_MS) == NOW_MS - HOUR_MS + BEHIND_MS
    assert horizon.known_until(1, 100.0 + LONGEST_S, NOW_MS, NOW_MS - HOUR_MS) == CLOCK_MS


@pytest.mark.parametrize("lost", [True, False])
def test_a_new_connection_begins_anew(lost):
    horizon = Horizon(1.0)
    horizon.known_until(1, 100.0, NOW_MS, NOW_MS)
    if lost:
        horizon.lost()
        assert not horizon.caught_up
    later_ms = NOW_MS + HOUR_MS
    assert horizon.known_until(2, 200.0, later_ms, NOW_MS + 600_000) == NOW_MS + 600_000 + BEHIND_MS
    assert not horizon.caught_up


def test_settling_is_wall_time():
    assert Horizon(60.0).known_until(1, 100.0, NOW_MS, NOW_MS) == NOW_MS - 60 * 2_000


def test_a_connection_after_a_minute_without_one_ends_a_time_of_hearing_nothing():
    horizon = Horizon(1.0)
    assert not horizon.meets(1, 100.0)
    horizon.known_until(1, 100.0, NOW_MS, NOW_MS)
    horizon.lost()
    assert not horizon.meets(2, 100.0 + BLIND_S)
    horizon.lost()
    assert horizon.meets(3, 100.1 + BLIND_S)
    assert not horizon.meets(3, 100.2 + BLIND_S), "it is asked in every turn"


def test_a_machine_that_was_off_heard_nothing_before_its_first_connection():
    assert Horizon(1.0, blind=True).meets(1, 5.0)


def test_after_a_short_loss_deadlines_still_hold():
    assert LIMITS.absent_ms >= BLIND_S * 2_000
