"""Means for the estimate: what is left out, what ends one, and that no wild value is ever in one."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rules.capacity.follow import CALM_MS, GAP_MS, SETTLE_MS, WATCH_MS, Mean, Slice, gather
from collector.rules.limits import MINUTE, SECOND

T0 = 1_790_000_000_000


def means(points: list[tuple[int, float, float]], length_ms: int = CALM_MS, part: Slice | None = None) -> list[Mean]:
    """The means of readings (ms after T0, purity, flow)."""
    part = part or Slice(T0, points[0][2])
    found = (gather(part, T0 + at, purity, flow, length_ms) for at, purity, flow in points)
    return [mean for mean in found if mean is not None]


def steady(minutes: float, every_s: int = 10, *, from_min: float = 0.0, purity: float = 93.0, flow: float = 4.0):
    first, step = round(from_min * MINUTE), every_s * SECOND
    return [(first + i * step, purity, flow) for i in range(round(minutes * 60 / every_s))]


@pytest.mark.parametrize(("every_s", "length_ms", "count"), [(10, CALM_MS, 6), (60, CALM_MS, 6), (10, WATCH_MS, 60)])
def test_a_mean_comes_as_often_as_it_should_at_each_cadence(every_s: int, length_ms: int, count: int) -> None:
    found = means(steady(60, every_s), length_ms)
    assert count - 1 <= len(found) <= count
    apart = {b.time_ms - a.time_ms for a, b in pairwise(found)}
    assert apart == {length_ms}


def test_with_a_reading_a_minute_a_short_mean_is_that_reading() -> None:
    assert {mean.n for mean in means(steady(10, 60), WATCH_MS)[1:]} == {1}


@given(st.integers(0, 58), st.floats(-1.0, 110.0))
def test_one_wild_purity_is_never_in_a_mean(where: int, wild: float) -> None:
    points = steady(10)
    at, _, flow = points[where]
    points[where] = (at, wild, flow)
    assert all(mean.purity_pct == pytest.approx(93.0) for mean in means([*points, (10 * MINUTE, 93.0, 4.0)]))


@given(st.lists(st.floats(80.0, 95.0), min_size=4, max_size=60))
def test_a_mean_lies_between_its_second_lowest_and_second_highest(values: list[float]) -> None:
    part = Slice(T0, 4.0)
    points = [(i * SECOND, value, 4.0) for i, value in enumerate(values)]
    assert means(points, 10**9, part) == []
    mean = gather(part, T0 + len(values) * SECOND, values[0], 4.0, 1)
    assert mean is not None
    ordered = sorted([*values, values[0]])
    assert ordered[1] - 1e-9 <= mean.purity_pct <= ordered[-2] + 1e-9


def test_one_wild_flow_is_left_out_and_moves_nothing() -> None:
    points = steady(30)
    at, purity, _ = points[70]
    points[70] = (at, purity, 9.0)
    found = means(points)
    assert [mean.flow_lpm for mean in found] == pytest.approx([4.0] * len(found))
    assert not any(mean.stepped for mean in found)


def test_after_flow_was_set_anew_purity_is_left_out_until_it_has_followed() -> None:
    lag = SETTLE_MS / MINUTE
    points = [*steady(15), *steady(lag, from_min=15, purity=80.0, flow=5.0),
              *steady(20, from_min=15 + lag, purity=90.0, flow=5.0)]  # fmt: skip
    before, after, *_ = means(points)
    assert (before.stepped, after.stepped) == (False, True)
    assert [before.purity_pct, after.purity_pct, after.flow_lpm] == pytest.approx([93.0, 90.0, 5.0])


def test_only_the_first_mean_at_a_new_flow_says_that_it_is_new() -> None:
    found = means([*steady(15), *steady(40, from_min=15, flow=2.0)])
    assert [mean.stepped for mean in found if mean.flow_lpm < 3] == [True, *[False] * (len(found) - 2)]


def test_what_came_before_a_gap_is_not_averaged_with_what_comes_after() -> None:
    silence = GAP_MS / MINUTE + 1
    found = means([*steady(8, purity=80.0), *steady(15, from_min=8 + silence)])
    assert [mean.purity_pct for mean in found] == [pytest.approx(93.0)]


@given(st.lists(st.integers(1, 40), min_size=30, max_size=200))
def test_irregular_readings_give_means_no_shorter_than_asked_for(gaps_s: list[int]) -> None:
    points, at = [], 0
    for gap in gaps_s:
        at += gap * SECOND
        points.append((at, 93.0, 4.0))
    found = means(points, 5 * MINUTE)
    assert all(b.time_ms - a.time_ms >= 5 * MINUTE - SECOND for a, b in pairwise(found))
