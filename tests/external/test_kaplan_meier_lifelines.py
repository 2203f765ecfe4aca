"""Kaplan and Meier's estimate and its bounds against lifelines 0.30.3, an independent library.

Source: Freireich et al., Blood 1963;21:699 (weeks in remission), as lifelines ships it (`gehan.dat`); the figures below
are what its KaplanMeierFitter said of it. They are pinned, since lifelines asks for pandas below 3 and cannot be
installed beside this program. Its bounds are the exponential Greenwood ones, 95 %, each on its own.
"""

import pytest

from collector.service.survival import Life, Survival, kaplan_meier

SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"
# Weeks, survival, its lower and its upper bound.
UNDER_SIX_MP = [
    (6, 0.857143, 0.619718, 0.951552), (7, 0.806723, 0.563147, 0.922809), (10, 0.752941, 0.503200, 0.889362),
    (13, 0.690196, 0.431610, 0.849066), (16, 0.627451, 0.367511, 0.804912), (22, 0.537815, 0.267779, 0.746791),
    (23, 0.448179, 0.188052, 0.680143),
]  # fmt: skip
UNDER_PLACEBO = [
    (1, 0.904762), (2, 0.809524), (3, 0.761905), (4, 0.666667), (5, 0.571429), (8, 0.380952), (11, 0.285714),
    (12, 0.190476), (15, 0.142857), (17, 0.095238), (22, 0.047619), (23, 0.0),
]  # fmt: skip


def estimate(text: str) -> Survival:
    weeks = text.split()
    return kaplan_meier(Life(f"u{n}", float(week.rstrip("+")), not week.endswith("+")) for n, week in enumerate(weeks))


def test_survival_and_bounds_under_6_mp_are_lifelines() -> None:
    found = [(p.run_h, p.survival, p.low, p.high) for p in estimate(SIX_MP).points]
    assert found == [pytest.approx(row, abs=1e-6) for row in UNDER_SIX_MP]


def test_survival_under_placebo_is_lifelines() -> None:
    found = estimate(PLACEBO)
    assert [(p.run_h, p.survival) for p in found.points] == [pytest.approx(row, abs=1e-6) for row in UNDER_PLACEBO]
    assert (found.points[-1].low, found.points[-1].high) == (None, None), "nobody is left: no bounds"
