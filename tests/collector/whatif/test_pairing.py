"""Which alarm of the changed run is which of today's."""

from hypothesis import given
from hypothesis import strategies as st

from collector.whatif.pairing import CHANGED, TODAY, Pairing, Standing

W = 60  # the window; any unit of time
Spans = list[tuple[int, int]]


def paired(today: Spans, changed: Spans, window: int = W) -> list[tuple[int | None, int | None]]:
    """Play both runs in the order of time, settling whenever it is due, and return the raisings of each pair."""
    pairing, found = Pairing(window), []
    alarms = [[(Standing(start, "low"), end) for start, end in spans] for spans in (today, changed)]
    steps = [(a.raised_ms, 1, side, a) for side in (TODAY, CHANGED) for a, _ in alarms[side]]
    steps += [(end, 0, side, a) for side in (TODAY, CHANGED) for a, end in alarms[side]]
    for at, begins, side, alarm in sorted(steps, key=lambda step: step[:2]):
        if pairing.due_ms is not None and pairing.due_ms <= at:
            found += pairing.settle(at)
        if begins:
            pairing.raised(side, alarm)
        else:
            pairing.cleared(alarm, at)
    found += pairing.finish()
    assert pairing.idle
    return [(a.raised_ms if a else None, b.raised_ms if b else None) for a, b in found]


def test_raisings_within_the_window_are_the_same_alarm() -> None:
    assert paired([(0, 5)], [(60, 70)]) == [(0, 60)]
    assert paired([(0, 5)], [(61, 70)]) == [(0, None), (None, 61)]


def test_of_two_the_nearer_is_the_same_even_when_it_comes_later() -> None:
    assert paired([(0, 5), (42, 45)], [(40, 44)]) == [(0, None), (42, 40)]


def test_who_loses_the_nearer_one_has_the_next() -> None:
    assert paired([(0, 5), (60, 65)], [(40, 42), (61, 62)]) == [(0, 40), (60, 61)]


def test_alarms_that_stand_together_are_the_same_however_far_apart_they_began() -> None:
    assert paired([(5000, 6000)], [(100, 5500)]) == [(5000, 100)]
    assert paired([(5000, 6000)], [(100, 4900)]) == [(None, 100), (5000, None)]


def test_within_the_window_comes_before_standing_together() -> None:
    assert paired([(1000, 1200)], [(0, 1010), (1020, 1030)]) == [(None, 0), (1000, 1020)]


def test_one_long_alarm_is_the_first_of_many() -> None:
    many = [(at, at + 10) for at in range(1000, 3000, 100)]
    assert set(paired([(900, 9000)], many)) == {(900, 1000)} | {(None, at) for at, _ in many[1:]}


def test_a_chattering_alarm_is_kept_for_a_bounded_time() -> None:
    pairing, most = Pairing(W), 0
    for at in range(0, 20_000, 4):
        for side in (TODAY, CHANGED):
            alarm = Standing(at + side, "low")
            pairing.raised(side, alarm)
            pairing.cleared(alarm, at + 2)
        if pairing.due_ms is not None and pairing.due_ms <= at:
            assert all(a and b and b.raised_ms - a.raised_ms == 1 for a, b in pairing.settle(at))
        most = max(most, sum(map(len, pairing._waiting)))
    assert most <= 2 * 4 * W // 4


spans = st.lists(st.tuples(st.integers(1, 80), st.integers(1, 200)), max_size=12)


def laid_out(gaps: Spans) -> Spans:
    """Alarms of one run: one after the other."""
    found, at = [], 0
    for gap, length in gaps:
        found.append((at + gap, at + gap + length))
        at += gap + length
    return found


@given(spans, spans)
def test_every_raising_is_told_once_and_a_pair_is_near_or_stood_together(first: Spans, second: Spans) -> None:
    today, changed = laid_out(first), laid_out(second)
    pairs = paired(today, changed)
    assert sorted(a for a, _ in pairs if a is not None) == [start for start, _ in today]
    assert sorted(b for _, b in pairs if b is not None) == [start for start, _ in changed]
    ends = (dict(today), dict(changed))
    for a, b in pairs:
        if a is not None and b is not None:
            assert abs(a - b) <= W or (a < ends[1][b] and b < ends[0][a])


@given(spans)
def test_the_same_alarms_are_all_the_same(gaps: Spans) -> None:
    alarms = laid_out(gaps)
    assert paired(alarms, alarms) == [(start, start) for start, _ in alarms]


@given(spans, spans)
def test_which_run_is_which_does_not_matter(first: Spans, second: Spans) -> None:
    today, changed = laid_out(first), [(a * 2 + 1, b * 2 + 1) for a, b in laid_out(second)]
    there = paired([(a * 2, b * 2) for a, b in today], changed, 2 * W)
    back = paired(changed, [(a * 2, b * 2) for a, b in today], 2 * W)
    assert {(b, a) for a, b in back} == set(there)
