"""Forecasts that are in order whatever is believed: quantiles, limits and flows."""

import random
from itertools import pairwise
from math import exp, inf, log, sqrt

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.rules.capacity.bank import PACES, Pace, Track
from collector.rules.capacity.curve import KNEES
from collector.rules.capacity.estimate import Estimate, capacity_quantiles, new_estimate, observe
from collector.rules.capacity.now import Outlook
from collector.rules.capacity.outlook import outlooks
from collector.rules.events import Quantiles
from collector.rules.limits import HOUR
from tests.collector.rules.made import purity_at

LIMITS_PCT = (85.0, 82.0, 70.0)


def drawn(seed: int) -> Estimate:
    """Beliefs as different as a bank may hold them, each pace as fast as it goes."""
    rng = random.Random(seed)  # noqa: S311 - invented values, no secret
    bank = [_track(rng, PACES[index % len(PACES)]) for index in range(len(PACES) * len(KNEES))]
    total = sum(track.weight for track in bank)
    for track in bank:
        track.weight /= total
    return Estimate(bank, plateau_pct=rng.uniform(90.0, 97.5), last_ms=1, last_lpm=rng.uniform(0.5, 6.0))


def _track(rng: random.Random, pace: Pace) -> Track:
    cc, rr = exp(rng.uniform(log(1e-6), 0.0)), rng.uniform(1e-3, 9.0) * pace.spread_r**2
    return Track(
        weight=exp(rng.uniform(-9.0, 0.0)), c=rng.uniform(log(0.5), log(12.0)),
        r=rng.uniform(-4.0, 4.0) * pace.spread_r, cc=cc, cr=rng.uniform(-0.99, 0.99) * sqrt(cc * rr), rr=rr,
    )  # fmt: skip


def watched(seed: int) -> Estimate:
    """What is believed after some hours of purities, some on the plateau and some falling."""
    rng = random.Random(seed)  # noqa: S311 - invented values, no secret
    e, time_ms = new_estimate(5.0), 1_790_000_000_000
    flow, capacity, fall = rng.uniform(1.0, 5.0), rng.uniform(3.0, 7.0), exp(rng.uniform(-9.0, 0.0))
    for _ in range(rng.randint(1, 60)):
        step_h = rng.choice([1 / 60, 1 / 12, 1 / 6])
        time_ms += round(step_h * HOUR)
        capacity *= exp(-fall * step_h)
        flow = rng.uniform(1.0, 5.0) if rng.random() < 0.1 else flow
        observe(e, time_ms, purity_at(flow, capacity) + rng.gauss(0, 0.1), flow, (LIMITS_PCT[0], 5.0))
    return e


estimates = st.builds(drawn, st.integers(0, 2**32)) | st.builds(watched, st.integers(0, 2**32))


def times(quantiles: Quantiles) -> list[float]:
    """p05, p50 and p95 in minutes; beyond the horizon is later than all."""
    return [inf if quantiles[name] is None else float(quantiles[name] or 0.0) for name in ("p05", "p50", "p95")]


def limits_of(outlook: Outlook) -> list[list[float]]:
    return [times(q) for q in (outlook.amber_in_min, outlook.red_in_min, outlook.shutdown_in_min)]


@settings(max_examples=150, deadline=None)
@given(estimates, st.floats(0.5, 6.0))
def test_quantiles_of_time_are_in_order(e: Estimate, flow_lpm: float) -> None:
    (outlook,) = outlooks(e, [flow_lpm], LIMITS_PCT)
    for found in limits_of(outlook):
        assert found == sorted(found)
        assert found[0] >= 0


@settings(max_examples=150, deadline=None)
@given(estimates, st.floats(0.5, 6.0))
def test_amber_comes_before_red_and_red_before_switch_off(e: Estimate, flow_lpm: float) -> None:
    (outlook,) = outlooks(e, [flow_lpm], LIMITS_PCT)
    for by_limit in zip(*limits_of(outlook), strict=True):
        assert list(by_limit) == sorted(by_limit)


@settings(max_examples=150, deadline=None)
@given(estimates, st.lists(st.floats(0.5, 6.0), min_size=2, max_size=4, unique=True).map(sorted))
def test_a_larger_flow_never_lasts_longer(e: Estimate, flows_lpm: list[float]) -> None:
    for less, more in pairwise(outlooks(e, flows_lpm, LIMITS_PCT)):
        for lasts, lasts_no_longer in zip(limits_of(less), limits_of(more), strict=True):
            assert all(a >= b for a, b in zip(lasts, lasts_no_longer, strict=True))


@given(estimates)
def test_quantiles_of_capacity_are_in_order(e: Estimate) -> None:
    low, middle, high = capacity_quantiles(e)
    assert 0 < low <= middle <= high
