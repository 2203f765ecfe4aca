"""The forecast's chances and quantiles (`rules/capacity/outlook.py`) against seeded simulation of the model it states.

Source: the model in the module's own head, drawn by numpy: this checks that the formulas are those of the model (and
the purity curve's inversion, by going through the curve forwards), not that units behave like it. Tolerances: five
standard errors of the simulated share; where the formula is itself an approximation the test says by how much more.
"""

from math import log

import numpy as np
import pytest

from collector.rules.capacity import outlook
from collector.rules.capacity.bank import PACES, Track
from collector.rules.capacity.curve import AIR_PCT, KNEES
from collector.rules.capacity.estimate import SHAPE_SHARE, Estimate
from collector.rules.capacity.outlook import BEND, FALLS_SD, GRID_MIN, chances, outlooks

DRAWS = 200_000
TIMES_H = GRID_MIN / 60.0
STANDING = (log(5.5), -1e-5, 0.02**2, 1e-6, 0.0006**2)  # c, r, cc, cr, rr: no clear fall
FALLING = (log(5.5), -0.02, 0.01**2, 0.0, 0.004**2)


def estimate_of(*, standing: float, falling: float = 0.0, knee: int = 0) -> Estimate:
    """Two beliefs that count, the others with no weight; the first of the weeks' pace, the other of the days'."""
    tracks = [Track(0.0, *STANDING) for _ in range(len(PACES) * len(KNEES))]
    tracks[0] = Track(standing, *STANDING)
    tracks[1 + knee * len(PACES)] = Track(falling, *FALLING)
    return Estimate(tracks)


def margin(share: np.ndarray | float) -> np.ndarray:
    """Five standard errors of a simulated share, and a little for shares near nought and one."""
    return 5.0 * np.sqrt(np.maximum(share * (1.0 - np.asarray(share)), 1e-4) / DRAWS)


def drawn_standing(limit: float, rng: np.random.Generator) -> np.ndarray:
    """Share of drawn beliefs under a limit at each time: level and rate wander as the pace says."""
    c, r, cc, cr, rr = STANDING
    pace = PACES[0]
    start = rng.multivariate_normal([c, r], [[cc, cr], [cr, rr]], DRAWS)
    shape = rng.normal(0.0, SHAPE_SHARE * abs(c - limit), DRAWS)
    shares = []
    for t in TIMES_H:
        wander = rng.normal(0.0, np.sqrt(pace.wander_c * t + pace.wander_r * t**3 / 3.0), DRAWS)
        shares.append(np.mean(start[:, 0] + shape + start[:, 1] * t + wander < limit))
    return np.array(shares)


@pytest.mark.parametrize("below", [0.03, 0.2, 0.7])
def test_chance_of_a_belief_without_a_clear_fall(below: float) -> None:
    """Source: simulation of level and rate that wander (above)."""
    limit = STANDING[0] - below
    table = chances(estimate_of(standing=1.0), np.full((1, len(PACES) * len(KNEES)), limit))[0]
    drawn = drawn_standing(limit, np.random.default_rng(8))
    assert np.all(np.abs(table - drawn) < margin(drawn))


def drawn_falling(limit: float, rng: np.random.Generator) -> np.ndarray:
    """Share of drawn falls that have reached a limit at each time: a gap, a rate of known sign, a bend."""
    c, r, cc, _, rr = FALLING
    log_var = np.log1p(rr / r**2)
    rate = np.exp(rng.normal(np.log(-r) - log_var / 2, np.sqrt(log_var), DRAWS))
    gap = rng.normal(c - limit, np.sqrt(cc + (SHAPE_SHARE * (c - limit)) ** 2), DRAWS)
    after = np.maximum(gap, 0.0) / rate * np.exp(rng.normal(0.0, BEND, DRAWS))
    return np.array([np.mean(after <= t) for t in TIMES_H])


@pytest.mark.parametrize(("below", "more"), [(0.03, 0.05), (0.1, 0.015), (0.3, 0.015), (0.8, 0.015)])
def test_chance_of_a_belief_that_sees_a_fall(below: float, more: float) -> None:
    """Source: simulation (above). The gap is log-normal in the formula and drawn as normal, which is `more` off.

    Measured: 4 points of chance where the limit is three deviations of the level away, else 1.1 to 1.4.
    """
    assert FALLING[1] < -FALLS_SD * np.sqrt(FALLING[4])
    limit = FALLING[0] - below
    wanted = np.full((1, len(PACES) * len(KNEES)), limit)
    table = chances(estimate_of(standing=0.0, falling=1.0), wanted)[0]
    drawn = drawn_falling(limit, np.random.default_rng(9))
    assert np.all(np.abs(table - drawn) < margin(drawn) + more)


def drawn_purity(falls: np.ndarray, t_h: float, flow_lpm: float, knee: float, rng: np.random.Generator) -> np.ndarray:
    """Purity at a flow after t_h of capacities whose fall is `falls`, by the curve with this knee, forwards."""
    c, _, cc, _, _ = FALLING
    log_capacity = rng.normal(c, np.sqrt(cc), DRAWS) - falls * t_h
    plateau = Estimate([]).plateau_pct
    amber = (85.0 - AIR_PCT) / (plateau - AIR_PCT)
    sharp_lpm = np.exp(log_capacity) / (amber**-knee - 1.0) ** (1.0 / knee)
    return AIR_PCT + (plateau - AIR_PCT) * (1.0 + (flow_lpm / sharp_lpm) ** knee) ** (-1.0 / knee)


@pytest.mark.parametrize("which", ["amber_in_min", "red_in_min", "shutdown_in_min"])
@pytest.mark.parametrize("flow_lpm", [3.0, 4.5])
@pytest.mark.parametrize("knee", range(len(KNEES)))
def test_quantiles_are_when_so_much_of_simulated_purity_is_under_the_limit(
    which: str, flow_lpm: float, knee: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Source: simulation of purity itself, by the curve forwards: at p50 half of the draws have passed the limit.

    Bend and shape are set to nought (they are checked above), so that 3 % is left to the formula's log-normal gap and
    to straight lines between the forecast's moments.
    """
    monkeypatch.setattr(outlook, "BEND", 0.0)
    monkeypatch.setattr(outlook, "SHAPE_SHARE", 0.0)
    limit_pct = {"amber_in_min": 85.0, "red_in_min": 82.0, "shutdown_in_min": 70.0}[which]
    estimate = estimate_of(standing=0.0, falling=1.0, knee=knee)
    found = getattr(outlooks(estimate, [flow_lpm], (85.0, 82.0, 70.0))[0], which)
    rng = np.random.default_rng(10)
    log_var = np.log1p(FALLING[4] / FALLING[1] ** 2)
    falls = np.exp(rng.normal(np.log(-FALLING[1]) - log_var / 2, np.sqrt(log_var), DRAWS))
    for name, level in {"p05": 0.05, "p50": 0.5, "p95": 0.95}.items():
        passed = np.mean(drawn_purity(falls, found[name] / 60.0, flow_lpm, KNEES[knee], rng) < limit_pct)
        assert passed == pytest.approx(level, abs=0.03)


def test_chances_of_several_beliefs_are_their_weighted_sum() -> None:
    """Source: the law of total probability, by simulation: seven in ten stand, three fall."""
    limit = STANDING[0] - 0.3
    wanted = np.full((1, len(PACES) * len(KNEES)), limit)
    table = chances(estimate_of(standing=0.7, falling=0.3), wanted)[0]
    rng = np.random.default_rng(11)
    drawn = 0.7 * drawn_standing(limit, rng) + 0.3 * drawn_falling(limit, rng)
    assert np.all(np.abs(table - drawn) < margin(drawn) + 0.015)
