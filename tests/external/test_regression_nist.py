"""The straight line of a unit's normal (`signs.Line`) against certified and independent least squares.

Source: NIST Statistical Reference Datasets, linear regression, Norris (calibration of ozone monitors; lower level of
difficulty), file and certified values as NIST publishes them (`open_data/nist_norris.dat`; SciPy ships the same file).
NIST's Wampler1 to 5 and Longley do not apply: they are a polynomial of the fifth degree and a regression on six
variables, and the product fits straight lines only. NoInt1 and 2 have no intercept, which Line always has.
"""

from math import inf, log10
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from collector.rules.capacity.signs import Line

NORRIS = np.loadtxt(Path(__file__).parent / "open_data" / "nist_norris.dat", skiprows=60)
Y, X = NORRIS[:, 0], NORRIS[:, 1]
CERTIFIED_INTERCEPT, CERTIFIED_SLOPE = -0.262323073774029, 1.00211681802045


def line_of(keep: float = 1.0) -> Line:
    line = Line()
    for x, y in zip(X, Y, strict=True):
        line.add(x, y, keep)
    return line


def digits(got: float, certified: float) -> float:
    """NIST's measure of accuracy: the base-10 logarithm of the relative error, negative (log relative error)."""
    return 15.0 if got == certified else -log10(abs(got - certified) / abs(certified))


def test_norris_certified_line() -> None:
    """Source: NIST StRD Norris. 12.2 digits of the intercept and 14.4 of the slope are reached; certified are 15."""
    intercept, slope = line_of().fit(slope_var=inf)
    assert digits(intercept, CERTIFIED_INTERCEPT) > 11
    assert digits(slope, CERTIFIED_SLOPE) > 13


@pytest.mark.parametrize("keep", [0.999, 0.95, 0.7])
def test_fading_points_are_weighted_least_squares(keep: float) -> None:
    """Source: statsmodels' WLS with the weights keep^age, on the Norris data."""
    weights = keep ** np.arange(len(X) - 1, -1, -1)
    reference = sm.WLS(Y, sm.add_constant(X), weights=weights).fit().params
    assert line_of(keep).fit(slope_var=inf) == pytest.approx(tuple(reference), rel=1e-9)


@pytest.mark.parametrize("slope_var", [1e-6, 1e-3, 0.05, 10.0])
def test_prior_of_the_slope_is_one_more_observation_of_it(slope_var: float) -> None:
    """Source: mixed estimation (Theil and Goldberger 1961; from memory): a prior is a row of its own, here slope = 0.

    The reference is statsmodels' OLS with that row, on the Norris data (noise 1, so slope_var is the prior's variance).
    """
    rows = np.vstack([sm.add_constant(X), [0.0, slope_var**-0.5]])
    reference = sm.OLS(np.append(Y, 0.0), rows).fit().params
    assert line_of().fit(slope_var) == pytest.approx(tuple(reference), rel=1e-9)


def test_points_at_one_flow_give_a_level_line_at_their_mean() -> None:
    """Common practice, no source: without spread in x there is no slope, and the level is the mean."""
    line = Line()
    for y in Y[:7]:
        line.add(4.0, y)
    intercept, slope = line.fit()
    assert slope == pytest.approx(0.0, abs=1e-9)
    assert intercept + slope * 4.0 == pytest.approx(Y[:7].mean())
