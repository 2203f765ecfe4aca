"""The capacity filter on a real change of level: the Nile's yearly flow at Aswan, 1871 to 1970, and its fall of 1898.

Source: the data as statsmodels ships them (`statsmodels.datasets.nile`; Cobb, Biometrika 1978;65:243); the change after
1898: mean 1097.75 before and 849.97 after, in 10^8 m3 (computed from the data); the local level model's variances,
15099 of an observation and 1469.1 of a year's wander: Durbin, Koopman, Time Series Analysis by State Space Methods,
2nd edition 2012, chapter 2 (as quoted by others). Flows in 10^11 m3 here: the filter's variances end at one.

What this shows and what not: the change is 1.9 standard deviations of one year's flow, so no filter misses by five and
none begins anew; it is the filters' gains and weights that follow it. How much time a year stands for is a choice.
"""

from collections.abc import Sequence
from math import exp, log, sqrt

import numpy as np
import pytest
from scipy.optimize import minimize
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.structural import UnobservedComponents

from collector.rules.capacity.bank import PACES, Pace, Track, new_bank, predict, reweigh, see

DATA = nile.load_pandas().data
YEARS = [int(year) for year in DATA["year"]]
FLOWS = [float(volume) / 1000.0 for volume in DATA["volume"]]
NOISE_VAR, WANDER_VAR = 15099e-6, 1469.1e-6
BEFORE, AFTER = 1.09775, 0.84997


def filtered(noise_var: float, wander_var: float) -> tuple[list[Track], float]:
    """The local level model's beliefs after each year from the second on, and their log-likelihood.

    The first flow is all that is known at first, which is what a diffuse start comes to.
    """
    pace = Pace(wander_var, 0.0, 0.0, 1.0, 1e6)
    now, total, beliefs = Track(1.0, FLOWS[0], 0.0, noise_var, 0.0, 0.0), 0.0, []
    for flow in FLOWS[1:]:
        predict(now, pace, 1.0)
        total += log(see(now, pace, flow, noise_var))
        beliefs.append(Track(now.weight, now.c, now.r, now.cc, now.cr, now.rr, now.misses))
    return beliefs, total


def test_level_is_that_of_the_local_level_model() -> None:
    """Source: statsmodels' UnobservedComponents at the published variances, diffuse start."""
    model = UnobservedComponents(np.array(FLOWS), "local level", use_exact_diffuse=True)
    model.ssm.tolerance = 0.0  # no shortcut once it is nearly steady
    result = model.smooth([NOISE_VAR, WANDER_VAR])
    beliefs, total = filtered(NOISE_VAR, WANDER_VAR)
    assert [t.c for t in beliefs] == pytest.approx(list(result.filtered_state[0, 1:]), rel=1e-9)
    assert [t.cc for t in beliefs] == pytest.approx(list(result.filtered_state_cov[0, 0, 1:]), rel=1e-9)
    assert total == pytest.approx(result.llf_obs[1:].sum(), rel=1e-9)


def test_steady_state_of_the_local_level_model() -> None:
    """Source: the model's Riccati equation by hand: P = (w + sqrt(w^2 + 4 w e)) / 2 before, gain P / (P + e)."""
    before = (WANDER_VAR + sqrt(WANDER_VAR**2 + 4 * WANDER_VAR * NOISE_VAR)) / 2
    last = filtered(NOISE_VAR, WANDER_VAR)[0][-1]
    assert before == pytest.approx(5501e-6, rel=1e-3)
    assert last.cc == pytest.approx(before * NOISE_VAR / (before + NOISE_VAR), rel=1e-9)


def test_the_filter_s_likelihood_is_highest_at_the_published_variances() -> None:
    """Source: Durbin, Koopman (above): 15099 and 1469.1 by maximum likelihood."""

    def unlikely(logs: Sequence[float]) -> float:
        return -filtered(exp(logs[0]), exp(logs[1]))[1]

    found = minimize(unlikely, [log(0.01), log(0.01)], method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-9})
    assert 1e6 * exp(found.x[0]) == pytest.approx(15099, rel=1e-3)
    assert 1e6 * exp(found.x[1]) == pytest.approx(1469.1, rel=1e-3)


def levels(year_h: float) -> dict[int, float]:
    """What the product's bank says of each year's level, from logs, with its own paces; a year stands for year_h."""
    variance = NOISE_VAR / (sum(FLOWS) / len(FLOWS)) ** 2
    tracks = new_bank(log(FLOWS[0]), variance, 1)
    found = {YEARS[0]: FLOWS[0]}
    for year, flow in zip(YEARS[1:], FLOWS[1:], strict=True):
        for track, pace in zip(tracks, PACES, strict=True):
            predict(track, pace, year_h)
        reweigh(tracks, [see(track, pace, log(flow), variance) for track, pace in zip(tracks, PACES, strict=True)])
        found[year] = exp(sum(track.weight * track.c for track in tracks))
    return found


@pytest.mark.parametrize("year_h", [6.0, 24.0, 96.0])
def test_the_bank_follows_the_fall_of_1898_within_four_years_and_not_before(year_h: float) -> None:
    """Source: the change above. Measured: it passes half way in 1901, 1900, 1900; the level after is 837 to 848."""
    level = levels(year_h)
    half_way = sqrt(BEFORE * AFTER)
    assert min(level[year] for year in range(1876, 1899)) > half_way
    assert next(year for year in range(1899, 1971) if level[year] < half_way) <= 1902
    assert np.mean([level[year] for year in range(1890, 1899)]) == pytest.approx(BEFORE, rel=0.03)
    assert np.mean([level[year] for year in range(1903, 1971)]) == pytest.approx(AFTER, rel=0.03)
