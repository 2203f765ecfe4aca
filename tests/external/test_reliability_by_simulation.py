"""Fleet figures against the theory they stand for, by simulation with a fixed seed.

Source: inherent availability MTBF / (MTBF + MTTR) and R(t) = exp(-t / MTBF) for a constant rate of failures
(NIST/SEMATECH e-Handbook 8.1; check values computed from the formulae); limits of MTBF for a test that ends at a fixed
time, which hold at least the stated share of the truth (8.4.5.1, exact for such tests and conservative by the counts'
steps). Tolerances are four standard errors of the simulation.
"""

import math
import random
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from collector.rules.limits import HOUR
from collector.service.availability import Availability, availability_of, together
from collector.service.episodes import OUT, Episode
from collector.service.failures import Mtbf, mtbf
from collector.service.survival import Life, kaplan_meier
from collector.site import Unit

UNIT, ZONE = Unit(id="u"), ZoneInfo("UTC")
PUBLISHED = [(2000.0, 24.0, 0.98814), (5000.0, 72.0, 0.98580), (8760.0, 168.0, 0.98118)]


def of_spells(spells: list[tuple[float, float]]) -> Availability:
    """A unit that was seen all the time, up and then down for so many hours by turns."""
    at_ms, items = 0, []
    for up_h, down_h in spells:
        start = at_ms + round(up_h * HOUR)
        at_ms = start + round(down_h * HOUR)
        items.append(Episode(start, at_ms, OUT))
    return availability_of(UNIT, items, [(0, at_ms)], (0, at_ms), ZONE)


@pytest.mark.parametrize(("mtbf_h", "mttr_h", "expected"), PUBLISHED)
def test_steady_spells_give_the_inherent_availability(mtbf_h: float, mttr_h: float, expected: float) -> None:
    found = of_spells([(mtbf_h, mttr_h)] * 5)
    assert found.share == pytest.approx(mtbf_h / (mtbf_h + mttr_h), abs=1e-9)
    assert found.share == pytest.approx(expected, abs=5e-6)


@pytest.mark.parametrize(("mtbf_h", "mttr_h", "expected"), PUBLISHED)
def test_random_spells_give_it_in_the_long_run(mtbf_h: float, mttr_h: float, expected: float) -> None:
    rng, fleets, cycles = random.Random(1), 40, 60  # noqa: S311 - no secret
    spells = [
        [(rng.expovariate(1 / mtbf_h), rng.expovariate(1 / mttr_h)) for _ in range(cycles)] for _ in range(fleets)
    ]
    found = together(of_spells(one) for one in spells)
    spread = expected * (1 - expected) * math.sqrt(2 / (fleets * cycles))
    assert found.share == pytest.approx(expected, abs=4 * spread)


def test_units_that_fail_at_a_constant_rate_survive_as_r_of_t_says() -> None:
    rng, units = np.random.default_rng(2), 1500
    fails_h, looked_until_h = rng.exponential(2000, units), rng.uniform(300, 6000, units)
    lives = [
        Life(f"u{n}", min(f, c), bool(f <= c)) for n, (f, c) in enumerate(zip(fails_h, looked_until_h, strict=True))
    ]
    points = kaplan_meier(lives).points
    at_500_h = [point for point in points if point.run_h <= 500][-1]
    assert math.exp(-500 / 2000) == pytest.approx(0.778801, abs=5e-7)
    assert at_500_h.survival == pytest.approx(0.778801, abs=4 * math.sqrt(0.7788 * 0.2212 / units))
    assert at_500_h.low is not None
    assert at_500_h.high is not None
    assert at_500_h.low < 0.778801 < at_500_h.high


@pytest.mark.parametrize("expected_failures", [1.0, 4.0, 15.0])
def test_limits_of_mtbf_hold_the_truth_as_often_as_they_say(expected_failures: float) -> None:
    run_h, tries = 10_000.0, 4000
    truth_h = run_h / expected_failures
    counted = cache(lambda failures: mtbf(run_h, failures, confidence=0.90))
    found: list[Mtbf] = [counted(int(n)) for n in np.random.default_rng(3).poisson(expected_failures, tries)]
    missed_low = sum(one.low_h is not None and one.low_h > truth_h for one in found) / tries
    missed_high = sum(one.high_h is not None and one.high_h < truth_h for one in found) / tries
    one_sided = [one for one in found if not one.failures]  # a lower bound alone, at the whole confidence
    slack = 4 * math.sqrt(0.05 * 0.95 / tries)
    assert missed_low <= 0.05 + slack
    assert missed_high <= 0.05 + slack
    assert all(one.high_h is None for one in one_sided)
