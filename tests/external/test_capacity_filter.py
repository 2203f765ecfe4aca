"""The filter behind a unit's capacity (`rules/capacity/bank.py`) against references and integration.

Source of the linear case: statsmodels' state space Kalman filter with the matrices of the constant-velocity model with
white noise on position and on velocity (Bar-Shalom, Li, Kirubarajan: Estimation with Applications to Tracking and
Navigation, 2001, 6.2.2; from memory): over dt, transition [[1, dt], [0, 1]], noise wander_c dt [[1, 0], [0, 0]] +
wander_r [[dt^3/3, dt^2/2], [dt^2/2, dt]]. The paces here are the tests' own, so nothing depends on tuned constants.

No CUSUM, no control chart and no trend test is in the product (a change is followed by the filters, not detected by a
chart), so NIST/SEMATECH's CUSUM example and worked Theil-Sen and Mann-Kendall ones do not apply; the average of its
EWMA example does (`test_smoothing_nist.py`).
"""

from math import exp

import numpy as np
import pytest
from scipy.special import ndtr
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

from collector.rules.capacity import bank
from collector.rules.capacity.bank import Pace, Track, predict, reweigh, see, see_above

WIDE = {"spread_r": 10.0, "share": 1.0, "step_h": 1e6}  # neither a long step nor a bound on variance comes into play
STEPS = 400


def noise_of(pace: Pace, dt_h: np.ndarray) -> np.ndarray:
    """The model's noise over each dt: (2, 2, steps)."""
    cc = pace.wander_c * dt_h + pace.wander_r * dt_h**3 / 3.0
    cr, rr = pace.wander_r * dt_h**2 / 2.0, pace.wander_r * dt_h
    return np.array([[cc, cr], [cr, rr]])


def transition_of(dt_h: np.ndarray) -> np.ndarray:
    one, nought = np.ones_like(dt_h), np.zeros_like(dt_h)
    return np.array([[one, dt_h], [nought, one]])


def observed(pace: Pace, dt_h: np.ndarray, variances: np.ndarray) -> np.ndarray:
    """Irregular noisy observations of a state that wanders as the model says."""
    rng = np.random.default_rng(20)
    state, values = np.array([1.6, -0.002]), []
    noise, moves = noise_of(pace, dt_h), transition_of(dt_h)
    for step, variance in enumerate(variances):
        values.append(state[0] + rng.normal(0.0, variance**0.5))
        state = moves[:, :, step] @ state + rng.multivariate_normal([0.0, 0.0], noise[:, :, step])
    return np.array(values)


def reference(pace: Pace, dt_h: np.ndarray, values: np.ndarray, variances: np.ndarray, start: Track):
    """statsmodels' filter over the same observations."""
    model = KalmanFilter(k_endog=1, k_states=2, tolerance=0.0)
    model.bind(values[:, None])
    model["design"] = np.array([[1.0, 0.0]])
    model["selection"] = np.eye(2)
    model["transition"], model["state_cov"] = transition_of(dt_h), noise_of(pace, dt_h)
    model["obs_cov"] = variances[None, None, :]
    model.initialize_known(np.array([start.c, start.r]), np.array([[start.cc, start.cr], [start.cr, start.rr]]))
    return model.filter()


@pytest.mark.parametrize(("wander_c", "wander_r"), [(1e-6, 1e-9), (1e-5, 0.0), (0.0, 1e-6), (1e-4, 1e-4)])
def test_a_track_is_the_kalman_filter_of_its_model(wander_c: float, wander_r: float) -> None:
    """Source: statsmodels KalmanFilter; 400 irregular steps, means, covariances and likelihoods to 1e-9."""
    rng = np.random.default_rng(4)
    pace = Pace(wander_c, wander_r, **WIDE)
    dt_h = rng.exponential(0.4, STEPS) + 1e-3
    variances = rng.uniform(1e-4, 4e-3, STEPS)
    values = observed(pace, dt_h, variances)
    track = Track(1.0, 1.5, 0.0, 0.01, 1e-4, 1e-3)
    result = reference(pace, dt_h, values, variances, track)
    for step in range(STEPS):
        density = see(track, pace, float(values[step]), float(variances[step]))
        covariance = result.filtered_state_cov[:, :, step]
        assert track.misses == 0
        assert [track.c, track.r] == pytest.approx(result.filtered_state[:, step], rel=1e-9, abs=1e-9)
        expected = [covariance[0, 0], covariance[0, 1], covariance[1, 1]]
        assert [track.cc, track.cr, track.rr] == pytest.approx(expected, rel=1e-9, abs=1e-12)
        assert density == pytest.approx(exp(result.llf_obs[step]), rel=1e-8)
        predict(track, pace, float(dt_h[step]))


def truncated(track: Track, bound: float, variance: float) -> tuple[float, np.ndarray, np.ndarray]:
    """Chance, mean and covariance of (c, r) given that c was seen above a bound, by integration over both."""
    grid = np.linspace(-9.0, 9.0, 1201)  # the trapezoid rule: exact to rounding for what dies out so fast
    step = grid[1] - grid[0]
    root = np.linalg.cholesky([[track.cc, track.cr], [track.cr, track.rr]])
    first, second = np.meshgrid(grid, grid, indexing="ij")
    c = track.c + root[0, 0] * first
    r = track.r + root[1, 0] * first + root[1, 1] * second
    density = np.exp(-0.5 * (first**2 + second**2)) / (2 * np.pi) * step**2 * ndtr((c - bound) / variance**0.5)
    chance = density.sum()
    density /= chance
    mean = np.array([(density * c).sum(), (density * r).sum()])
    off_c, off_r = c - mean[0], r - mean[1]
    cross = (density * off_c * off_r).sum()
    return chance, mean, np.array([[(density * off_c**2).sum(), cross], [cross, (density * off_r**2).sum()]])


def standing(z: float, share: float, correlation: float) -> tuple[Track, float, float]:
    """A belief that lies z standard deviations above a bound; `share` of the variance is the bound's own."""
    cc, rr = 0.09, 4e-4
    variance = cc * share / (1.0 - share)
    track = Track(1.0, 1.6, -0.01, cc, correlation * (cc * rr) ** 0.5, rr)
    return track, track.c - z * (cc + variance) ** 0.5, variance


@pytest.mark.parametrize("z", [-4.5, -2.0, -0.3, 0.0, 1.0, 2.5, 3.9])
@pytest.mark.parametrize(("share", "correlation"), [(0.1, -0.9), (0.1, 0.5), (0.6, -0.5), (0.02, 0.0)])
def test_seen_above_has_the_moments_of_the_truncated_belief(z: float, share: float, correlation: float) -> None:
    """Source: numerical integration. The form: Rasmussen, Williams, GPs for Machine Learning, 2006, 3.9 (memory)."""
    track, bound, variance = standing(z, share, correlation)
    chance, mean, covariance = truncated(track, bound, variance)
    assert see_above(track, bound, variance) == pytest.approx(chance, rel=1e-6)
    assert track.c == pytest.approx(mean[0], abs=1e-7)
    assert track.r == pytest.approx(mean[1], abs=1e-7)
    assert track.cc == pytest.approx(covariance[0, 0], rel=1e-5)
    assert track.cr == pytest.approx(covariance[0, 1], rel=1e-5, abs=1e-9)
    assert track.rr == pytest.approx(covariance[1, 1], rel=1e-5)


def test_a_bound_far_below_is_left_out_and_was_worth_nothing() -> None:
    """Source: numerical integration: what the shortcut leaves out is under a thousandth of a standard deviation."""
    track, bound, variance = standing(4.01, 0.1, -0.9)
    _, mean, covariance = truncated(track, bound, variance)
    see_above(track, bound, variance)
    assert abs(track.c - mean[0]) < 1e-3 * track.cc**0.5
    assert track.cc == pytest.approx(covariance[0, 0], rel=1e-3)


def test_a_bound_far_above_is_reached_nearly_and_never_with_too_much_trust() -> None:
    """Source: numerical integration: beyond six deviations the shift is 2 to 3 % short, the variance not too small."""
    track, bound, variance = standing(-7.0, 0.1, -0.9)
    before = track.c
    _, mean, covariance = truncated(track, bound, variance)
    see_above(track, bound, variance)
    assert track.c - before == pytest.approx(mean[0] - before, rel=0.03)
    assert track.cc >= covariance[0, 0]


# Source: Raftery, Karny, Ettler, Technometrics 2010;52:52 as restated in later papers: the predicted weight is
# w^alpha over the sum of all w^alpha, the updated one that times the model's predictive density, normed.
# By hand, alpha = 1/2: 0.64, 0.16, 0.16, 0.04 -> 0.8, 0.4, 0.4, 0.2 -> times 1, 2, 4, 8 = 0.8, 0.8, 1.6, 1.6, sum 4.8.
BEFORE, DENSITIES = [0.64, 0.16, 0.16, 0.04], [1.0, 2.0, 4.0, 8.0]


def reweighed(before: list[float], densities: list[float]) -> list[float]:
    tracks = [Track(weight, 1.6, 0.0, 0.01, 0.0, 1e-6) for weight in before]
    reweigh(tracks, densities)
    return [track.weight for track in tracks]


def test_weights_are_those_of_dynamic_model_averaging(monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: Raftery, Karny, Ettler 2010 (above), worked by hand; the product's floor is set to nought."""
    monkeypatch.setattr(bank, "FORGET", 0.5)
    monkeypatch.setattr(bank, "FLOOR", 0.0)
    assert reweighed(BEFORE, DENSITIES) == pytest.approx([1 / 6, 1 / 6, 1 / 3, 1 / 3])


def test_weights_without_forgetting_are_bayes_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: Bayes' rule by hand: 0.64, 0.32, 0.64, 0.32 over their sum 1.92."""
    monkeypatch.setattr(bank, "FORGET", 1.0)
    monkeypatch.setattr(bank, "FLOOR", 0.0)
    assert reweighed(BEFORE, DENSITIES) == pytest.approx([1 / 3, 1 / 6, 1 / 3, 1 / 6])


def test_the_floor_only_mixes_with_what_was_believed_at_first() -> None:
    """No source, our own: weights stay weights, and a belief that never fits can come back."""
    weights = BEFORE
    for _ in range(200):
        weights = reweighed(weights, [1.0, 1e-9, 1e-9, 1e-9])
        assert sum(weights) == pytest.approx(1.0)
    least = [len(weights) * bank.FLOOR * pace.share for pace in bank.PACES]
    assert all(weight >= floor * 0.999 for weight, floor in zip(weights, least, strict=True))
    assert weights[0] > 0.99
