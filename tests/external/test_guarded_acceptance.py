"""Pass or fail of a check with the analyser's uncertainty counted, against guarded acceptance.

Source: JCGM 106:2012, The role of measurement uncertainty in conformity assessment, 8.3.2, and ILAC-G8 (both from
memory): a value counts as conforming when it lies inside the limit by a guard band w; with w = U, the expanded
uncertainty at k = 2, and a normal error, an item at the limit is accepted with a chance of at most 2.3 %.
Limit 82 %: WHO (2015), WHO-UNICEF (2019). Argon: Johns et al., Thorax 1985;40:806.
"""

from datetime import date

import pytest
from scipy.stats import norm

from collector.rules.entries import PASS
from collector.service.proof import CEILING_PCT, Measured, judge_proof, limit_of
from collector.site import Analyser, Model

MODEL = Model(id="m")


def accepted(true_pct: float, expanded_pct: float) -> float:
    """The chance that a unit of this true purity passes: the least reading that passes, found by bisection."""
    analyser = Analyser(id="a", uncertainty_pct=expanded_pct, calibrated=date(2026, 1, 1))
    fails, passes = 60.0, 96.0
    while passes - fails > 1e-7:
        middle = (fails + passes) / 2
        result = judge_proof(MODEL, analyser, Measured(None, middle, MODEL.rated_flow_lpm)).result
        fails, passes = (fails, middle) if result == PASS else (middle, passes)
    return float(norm.sf(passes, loc=true_pct, scale=expanded_pct / 2))


@pytest.mark.parametrize("expanded_pct", [0.3, 1.0, 2.0, 4.0])
def test_a_unit_at_the_limit_is_accepted_with_the_published_chance(expanded_pct: float) -> None:
    assert accepted(82.0, expanded_pct) == pytest.approx(norm.sf(2.0), rel=1e-3)  # 2.275 %
    assert accepted(82.0 - expanded_pct, expanded_pct) < 5e-5
    assert accepted(82.0 + 2 * expanded_pct, expanded_pct) == pytest.approx(norm.cdf(2.0), rel=1e-3)


def test_the_limit_is_who_s() -> None:
    assert limit_of(MODEL) == 82.0


def test_no_sieve_gives_more_than_argon_leaves() -> None:
    assert pytest.approx(100 * 20.95 / (20.95 + 0.93), abs=0.005) == CEILING_PCT
