"""One unit's capacity followed mean by mean; the purity curve behind the means is none that the estimate carries."""

import random
from collections.abc import Callable
from math import exp, log

import pytest

from collector.rules.capacity.estimate import Estimate, capacity_quantiles, mean_of, new_estimate, observe, rate_of
from collector.rules.limits import HOUR
from tests.collector.rules.made import AMBER_PCT, purity_at

T0, RATED = 1_790_000_000_000, 5.0
OfTime = float | Callable[[float], float]


def watch(
    e: Estimate, hours: float, *, flow_lpm: OfTime = 4.0, capacity_lpm: OfTime = 8.0, bias_pct: OfTime = 0.0,
    step_h: OfTime = 1 / 6, noise_pct: float = 0.1, seed: int = 1,
) -> Estimate:  # fmt: skip
    """Means of what a unit gives for some hours; values may be functions of the hours since this call."""
    rng = random.Random(seed)  # noqa: S311 - invented values, no secret
    began_ms, at_h = e.last_ms or T0, 0.0
    while at_h < hours:
        at_h += _at(step_h, at_h)
        flow = _at(flow_lpm, at_h)
        purity = purity_at(flow, _at(capacity_lpm, at_h)) + _at(bias_pct, at_h) + rng.gauss(0, noise_pct)
        observe(e, began_ms + round(at_h * HOUR), purity, flow, (AMBER_PCT, RATED))
    return e


def _at(value: OfTime, hours: float) -> float:
    return value(hours) if callable(value) else value


def spread(e: Estimate) -> float:
    low, _, high = capacity_quantiles(e)
    return log(high / low)


@pytest.mark.parametrize("flow_lpm", [1.0, 2.0, 3.0])
def test_at_low_flow_nothing_is_seen_but_that_capacity_lies_above(flow_lpm: float) -> None:
    e = watch(new_estimate(RATED), 24, flow_lpm=flow_lpm)
    low, _, high = capacity_quantiles(e)
    assert e.seen_ms is None
    assert low > flow_lpm
    assert high > 1.2 * low


def test_more_flow_held_says_more() -> None:
    lows = [capacity_quantiles(watch(new_estimate(RATED), 24, flow_lpm=flow))[0] for flow in (1.0, 3.0, 4.5)]
    assert lows == sorted(lows)


@pytest.mark.parametrize("capacity_lpm", [3.8, 4.2, 4.6])
def test_a_capacity_that_purity_shows_is_found(capacity_lpm: float) -> None:
    e = watch(new_estimate(RATED), 12, capacity_lpm=8.0)
    watch(e, 3, capacity_lpm=capacity_lpm)
    low, middle, high = capacity_quantiles(e)
    assert middle == pytest.approx(capacity_lpm, rel=0.06)
    assert low < capacity_lpm < high
    assert e.seen_ms is not None


@pytest.mark.parametrize("per_hour", [0.01, 0.05, 0.3])
def test_a_fall_at_steady_flow_is_seen_and_its_rate_is_about_right(per_hour: float) -> None:
    """Watched from the plateau until capacity is 5 % above the flow; a mean a minute, as when a limit is near."""
    e = watch(new_estimate(RATED), 24, capacity_lpm=6.0)
    hours = log(6.0 / 4.2) / per_hour
    watch(e, hours, capacity_lpm=lambda h: 6.0 * exp(-per_hour * h), step_h=1 / 60)
    rate, _ = rate_of(e)
    assert per_hour / 2 < -rate < 2 * per_hour
    assert capacity_quantiles(e)[1] == pytest.approx(4.2, rel=0.08)


def test_a_steady_unit_has_no_rate() -> None:
    e = watch(watch(new_estimate(RATED), 12), 72, capacity_lpm=4.4)
    rate, sd = rate_of(e)
    assert abs(rate) < max(2 * sd, 0.001)


@pytest.mark.parametrize("other_lpm", [3.0, 4.5])
def test_flow_that_goes_up_and_down_does_not_move_capacity(other_lpm: float) -> None:
    e = watch(watch(new_estimate(RATED), 12), 6, capacity_lpm=4.4)
    watch(e, 24, capacity_lpm=4.4, flow_lpm=lambda h: other_lpm if int(h / 2) % 2 else 4.0)
    assert capacity_quantiles(e)[1] == pytest.approx(4.4, rel=0.08)


@pytest.mark.parametrize("bias_pct", [-1.2, -0.5, 1.0])
def test_an_analysers_bias_is_learned_as_the_plateau_and_not_as_capacity(bias_pct: float) -> None:
    e = watch(new_estimate(RATED), 48, flow_lpm=2.0, bias_pct=bias_pct)
    assert e.plateau_pct == pytest.approx(94.0 + bias_pct, abs=0.3)
    assert capacity_quantiles(e)[0] > 2.0
    watch(e, 3, flow_lpm=4.0, capacity_lpm=4.4, bias_pct=bias_pct)
    assert capacity_quantiles(e)[1] == pytest.approx(4.4, rel=0.1)


def test_a_bias_that_might_be_a_worn_unit_is_not_called_one() -> None:
    e = watch(new_estimate(RATED), 48, flow_lpm=2.0, bias_pct=-2.5)
    assert e.seen_ms is None
    assert capacity_quantiles(e)[0] > 2.0


@pytest.mark.parametrize("pct_a_month", [-1.0, 1.0])
def test_an_analyser_that_drifts_is_no_fall(pct_a_month: float) -> None:
    e = watch(new_estimate(RATED), 60 * 24, flow_lpm=3.0, bias_pct=lambda h: pct_a_month * h / 720, step_h=0.5)
    assert e.seen_ms is None
    assert e.plateau_pct == pytest.approx(94.0 + 2 * pct_a_month, abs=0.7)
    assert capacity_quantiles(e)[0] > 3.0


def test_a_unit_that_is_repaired_comes_back() -> None:
    e = watch(new_estimate(RATED), 12)
    watch(e, 24, capacity_lpm=lambda h: 6.0 * exp(-0.015 * h))
    fallen = capacity_quantiles(e)[1]
    watch(e, 2, capacity_lpm=7.0)
    assert capacity_quantiles(e)[1] > 1.1 * fallen
    watch(e, 12, capacity_lpm=7.0)
    assert fallen < 4.6
    assert capacity_quantiles(e)[0] > 4.0


def test_a_sudden_loss_that_stays_is_taken_up_within_minutes() -> None:
    e = watch(new_estimate(RATED), 48)
    watch(e, 0.1, capacity_lpm=3.5, step_h=1 / 60)
    assert capacity_quantiles(e)[1] == pytest.approx(3.5, rel=0.1)


def test_irregular_means_lead_to_the_same_capacity() -> None:
    rng = random.Random(5)  # noqa: S311 - invented values, no secret
    fall = lambda h: 6.0 * exp(-0.03 * h)  # noqa: E731 - one use
    even = watch(watch(new_estimate(RATED), 24), 11, capacity_lpm=fall)
    uneven = watch(watch(new_estimate(RATED), 24), 11, capacity_lpm=fall,
                   step_h=lambda _: rng.choice([1 / 60, 1 / 12, 1 / 6, 1.0]))  # fmt: skip
    one, other = capacity_quantiles(even)[1], capacity_quantiles(uneven)[1]
    assert other == pytest.approx(one, rel=0.08)


def test_after_weeks_unseen_less_is_known_than_before() -> None:
    e = watch(watch(new_estimate(RATED), 12), 6, capacity_lpm=4.4)
    known, variance = spread(e), mean_of(e)[1]
    watch(e, 60 * 24, flow_lpm=1.0, capacity_lpm=4.4, step_h=6.0)
    assert spread(e) > 1.5 * known
    assert mean_of(e)[1] > variance


def test_what_is_above_is_never_thought_endless() -> None:
    e = watch(new_estimate(RATED), 30 * 24, flow_lpm=4.9, capacity_lpm=30.0, step_h=0.5)
    assert capacity_quantiles(e)[1] < 4 * RATED
