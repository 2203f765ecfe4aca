"""The family of purity curves: its inverse, its slope, its limits."""

from math import exp

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from collector.rules.capacity.curve import AIR_PCT, KNEES, depth, log_slope, log_stretch

depths = st.floats(0.02, 0.995)
knees = st.sampled_from(KNEES) | st.floats(2.0, 30.0)


@given(depths, knees)
def test_flow_made_of_a_depth_has_that_depth(share: float, knee: float) -> None:
    stretch = exp(log_stretch(share, knee))
    assert (1.0 + stretch**knee) ** (-1.0 / knee) == pytest.approx(share, rel=1e-9)


@given(depths, depths, knees)
def test_less_purity_is_more_flow(one: float, other: float, knee: float) -> None:
    assume(abs(one - other) > 1e-6)
    assert (log_stretch(one, knee) > log_stretch(other, knee)) == (one < other)


@given(st.floats(0.03, 0.99), knees)
def test_the_slope_is_that_of_the_curve(share: float, knee: float) -> None:
    step = 1e-6
    by_difference = (log_stretch(share - step, knee) - log_stretch(share + step, knee)) / (2 * step)
    assert log_slope(share, knee) == pytest.approx(by_difference, rel=1e-3)


@pytest.mark.parametrize("stretch", [1.2, 2.0, 5.0])
def test_a_sharp_corner_is_the_mass_balance(stretch: float) -> None:
    """All the oxygen of the sharp-corner flow, the surplus being air: depth = 1 / stretch (definition)."""
    assert exp(log_stretch(1.0 / stretch, 30.0)) == pytest.approx(stretch, rel=0.01)


@given(st.floats(-1.0, 110.0), st.floats(85.0, 97.5))
def test_a_depth_is_always_one_that_the_curve_has(purity_pct: float, plateau_pct: float) -> None:
    share = depth(purity_pct, plateau_pct)
    assert 0.02 <= share <= 0.995
    if 30.0 < purity_pct < 0.99 * plateau_pct:
        assert share * (plateau_pct - AIR_PCT) + AIR_PCT == pytest.approx(purity_pct)
