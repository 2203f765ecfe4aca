"""Reliability, spare parts and survival against published values.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1 (MTBF and its limits for repairable systems; the
800 h example and the table of test lengths; figures from memory, computed again here by the chi-square table) and
8.1.7 (availability is MTBF / (MTBF + MTTR)); the Poisson and binomial distributions by their definitions; Freireich
et al., Blood 1963;21:699 (weeks in remission under 6-MP and placebo; data from memory, as they ship with the library
lifelines as `gehan`), with the Kaplan-Meier table that textbooks print.
"""

import math

import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from collector.service.demand import k_of_n
from collector.service.failures import inherent_availability, mtbf
from collector.service.parts import demand, level
from collector.service.survival import Life, kaplan_meier

SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"


def lives(text: str) -> list[Life]:
    return [Life(str(n), float(week.rstrip("+")), not week.endswith("+")) for n, week in enumerate(text.split())]


# ---------------------------------------------------------------------------------------- NIST 8.4.5.1


def test_800_hours_with_two_failures() -> None:
    found = mtbf(800, 2, confidence=0.90)
    assert found.mean_h == 400
    assert found.low_h == pytest.approx(400 * 0.3177, rel=2e-4)
    assert found.high_h == pytest.approx(400 * 5.6281, rel=2e-5)
    assert (found.low_h, found.high_h) == pytest.approx((127.07, 2251.23), abs=0.01)


def test_without_failures_only_a_lower_bound_is_stated() -> None:
    found = mtbf(1000, 0, confidence=0.95)
    assert found.low_h == pytest.approx(1000 / math.log(1 / 0.05))
    assert (found.mean_h, found.high_h) == (None, None)


# Test length over MTBF, by allowed failures, at 60, 75, 80, 90 and 95 %: the lower limit of one side, turned round.
LENGTHS = {
    0: (0.916, 1.386, 1.609, 2.303, 2.996), 1: (2.022, 2.693, 2.994, 3.890, 4.744),
    2: (3.105, 3.920, 4.279, 5.322, 6.296), 3: (4.175, 5.109, 5.515, 6.681, 7.754),
}  # fmt: skip


@pytest.mark.parametrize(("failures", "factors"), LENGTHS.items())
def test_lengths_of_demonstration_tests(failures: int, factors: tuple[float, ...]) -> None:
    for one_sided, factor in zip((0.60, 0.75, 0.80, 0.90, 0.95), factors, strict=True):
        two_sided = one_sided if failures == 0 else 2 * one_sided - 1  # our interval leaves half of it on each side
        assert mtbf(1.0, failures, confidence=two_sided).low_h == pytest.approx(1 / factor, rel=4e-4)


def test_500_hours_at_80_percent_with_up_to_two_failures_take_2140_hours() -> None:
    assert mtbf(2139.5, 2, confidence=0.60).low_h == pytest.approx(500, abs=0.01)


@pytest.mark.parametrize(
    ("mtbf_h", "repair_h", "share"), [(2000, 24, 0.98814), (5000, 72, 0.98580), (8760, 168, 0.98118)]
)
def test_inherent_availability(mtbf_h: float, repair_h: float, share: float) -> None:
    assert inherent_availability(mtbf_h, repair_h) == pytest.approx(share, abs=5e-6)


# ------------------------------------------------------------------------------- spares and k of n


@pytest.mark.parametrize(("mean", "levels"), [(2, (4, 5, 6)), (4, (7, 8, 9)), (6, (9, 10, 12))])
def test_poisson_stock_for_90_95_and_99_percent(mean: float, levels: tuple[int, ...]) -> None:
    assert tuple(level(demand([], mean, 0, 30), service) for service in (0.90, 0.95, 0.99)) == levels


@pytest.mark.parametrize(("mean", "service"), [(0.3, 0.9), (2.0, 0.95), (11.0, 0.99)])
def test_poisson_stock_by_the_definition(mean: float, service: float) -> None:
    def chance(n: int) -> float:
        return sum(mean**k * math.exp(-mean) / math.factorial(k) for k in range(n + 1))

    stock = level(demand([], mean, 0, 30), service)
    assert chance(stock) >= service
    assert stock == 0 or chance(stock - 1) < service


@pytest.mark.parametrize(("k", "n", "expected"), [(4, 6, 0.997770), (3, 4, 0.985981), (1, 2, 0.997500)])
def test_k_of_n_units_of_availability_095(k: int, n: int, expected: float) -> None:
    by_hand = sum(math.comb(n, up) * 0.95**up * 0.05 ** (n - up) for up in range(k, n + 1))
    assert k_of_n(k, n, 0.95) == pytest.approx(expected, abs=5e-7)
    assert k_of_n(k, n, 0.95) == pytest.approx(by_hand)


# ------------------------------------------------------------------------------------- Kaplan-Meier

# Week, at risk, ended, still in remission, its standard error after Greenwood.
TABLE = [
    (6, 21, 3, 0.8571, 0.0764), (7, 17, 1, 0.8067, 0.0869), (10, 15, 1, 0.7529, 0.0963), (13, 12, 1, 0.6902, 0.1068),
    (16, 11, 1, 0.6275, 0.1141), (22, 7, 1, 0.5378, 0.1282), (23, 6, 1, 0.4482, 0.1346),
]  # fmt: skip


def test_remission_under_6_mp_is_the_table_of_textbooks() -> None:
    found = kaplan_meier(lives(SIX_MP))
    rows = [(p.run_h, p.at_risk, p.failures) for p in found.points]
    assert rows == [row[:3] for row in TABLE]
    assert [p.survival for p in found.points] == pytest.approx([row[3] for row in TABLE], abs=5e-5)
    assert (found.units, found.failed, found.median_h) == (21, 9, 23)


def test_bounds_under_6_mp_are_log_log_of_greenwoods_error() -> None:
    z95 = 1.959963984540054
    for point, (_, _, _, survival, error) in zip(kaplan_meier(lives(SIX_MP)).points, TABLE, strict=True):
        spread = z95 * error / (survival * abs(math.log(survival)))
        assert point.low is not None
        assert point.high is not None
        assert point.low == pytest.approx(survival ** math.exp(spread), abs=1e-3)
        assert point.high == pytest.approx(survival ** math.exp(-spread), abs=1e-3)


def test_median_remission_under_placebo_is_8_weeks() -> None:
    assert kaplan_meier(lives(PLACEBO)).median_h == 8


@pytest.mark.parametrize("text", [SIX_MP, PLACEBO])
def test_survival_is_that_of_statsmodels(text: str) -> None:
    found = lives(text)
    theirs = SurvfuncRight([life.run_h for life in found], [int(life.failed) for life in found])
    ours = kaplan_meier(found).points
    assert [p.run_h for p in ours] == theirs.surv_times.tolist()
    assert [p.survival for p in ours] == pytest.approx(theirs.surv_prob.tolist())
    assert [p.at_risk for p in ours] == theirs.n_risk.tolist()
