"""Who counts as dead: whoever was silent while we could speak ourselves."""

from collector.group.pulse import BEAT_S, COUNTED_S, DEAD_S, Pulse


def rounds(pulse: Pulse, beats, from_s: float, for_s: float) -> float:
    """Look once a beat; `beats(n)` gives them; returns when the last look was."""
    count = int(for_s / BEAT_S)
    for n in range(count + 1):
        pulse.look(beats(n), from_s + n * BEAT_S)
    return from_s + count * BEAT_S


def test_a_beat_that_stands_still_for_long_enough_is_death_and_one_that_changes_is_life() -> None:
    pulse = Pulse()
    at_s = rounds(pulse, lambda n: {"a": b"%d" % n, "b": b"7"}, 100.0, DEAD_S - BEAT_S)
    assert pulse.dead(["a", "b"]) == []
    pulse.look({"a": b"new", "b": b"7"}, at_s + BEAT_S)
    assert pulse.dead(["a", "b"]) == ["b"]


def test_a_beat_that_goes_on_in_time_is_forgiven() -> None:
    pulse = Pulse()
    at_s = rounds(pulse, lambda n: {"b": b"7"}, 100.0, DEAD_S - BEAT_S)
    at_s = rounds(pulse, lambda n: {"b": b"8"}, at_s + BEAT_S, DEAD_S - BEAT_S)
    assert pulse.dead(["b"]) == []


def test_minutes_in_which_the_cluster_answered_nobody_are_nobodys_silence() -> None:
    pulse = Pulse()
    pulse.look({"b": b"7"}, 100.0)
    pulse.look({"b": b"7"}, 400.0)
    assert COUNTED_S < DEAD_S
    assert pulse.dead(["b"]) == []


def test_a_member_without_any_beat_is_given_its_time() -> None:
    pulse = Pulse()
    pulse.look({"b": None}, 100.0)
    assert pulse.dead(["b", "never seen"]) == []
    rounds(pulse, lambda n: {"b": None}, 100.5, DEAD_S)
    assert pulse.dead(["b"]) == ["b"]
