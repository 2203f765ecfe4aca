"""The stories of the trial: their truth hangs together, and they are no mirror of what the estimator assumes."""

from itertools import islice

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import least_squares
from scipy.stats import norm

from collector.reading import fault_in
from simulator.physics import AIR_PCT
from simulator.trial.design import draw_design
from simulator.trial.laws import Curve, grown, lagged, spread_share, wander
from simulator.trial.stories import make_stories, plan, story
from simulator.trial.story import BENIGN_KINDS, FAULT_KINDS, UNIT

SEED = 20
HOUR_MS = 3_600_000
SHUTS_OFF = [kind for kind in FAULT_KINDS if kind != "sensor-fault"]
LOSES_CAPACITY = [kind for kind in SHUTS_OFF if kind != "flow-above-rated"]


def number(kind, variant=0):
    kinds, odd = (BENIGN_KINDS, 1) if kind in BENIGN_KINDS else (FAULT_KINDS, 0)
    return 2 * (variant * len(kinds) + kinds.index(kind)) + odd


def told(kind, variant=0, seed=SEED):
    return story(seed, number(kind, variant), kind)


def window(tale, quantity, from_ms, to_ms):
    at = (tale.time_ms >= from_ms) & (tale.time_ms < to_ms)
    return tale.measured[quantity][at]


def before_and_in(tale, quantity):
    """What was measured in the day before the onset, and in the last tenth of the fall."""
    late_ms = tale.shutdown_ms - (tale.shutdown_ms - tale.onset_ms) // 10
    before = window(tale, quantity, tale.onset_ms - 24 * HOUR_MS, tale.onset_ms)
    return np.nanmedian(before), np.nanmedian(window(tale, quantity, late_ms, tale.shutdown_ms - 60_000))


def armed(tale):
    """Rows in which the unit has run for a quarter of an hour."""
    rows = int(900_000 // tale.step_ms)
    off = np.convolve(~tale.running, np.ones(rows))[: len(tale.running)] > 0.5
    off[:rows] = True
    return tale.running & ~off


@pytest.mark.parametrize("kind", [*FAULT_KINDS, *BENIGN_KINDS])
def test_a_story_is_the_same_every_time_and_another_with_another_seed(kind):
    first, again, other = told(kind), told(kind), told(kind, seed=SEED + 1)
    for name, values in first.measured.items():
        np.testing.assert_array_equal(values, again.measured[name])
    np.testing.assert_array_equal(first.true_purity_pct, again.true_purity_pct)
    assert not np.array_equal(first.time_ms, other.time_ms)


def test_a_story_depends_on_no_story_before_it():
    third = next(islice(make_stories(SEED, 3, 3), 4, None))
    alone = story(SEED, *plan(3, 3)[4])
    assert third.name == alone.name
    np.testing.assert_array_equal(third.measured["power_w"], alone.measured["power_w"])


def test_every_kind_comes_in_turn():
    kinds = [kind for _number, kind in plan(225, 200)]
    assert {kind: kinds.count(kind) for kind in FAULT_KINDS} == dict.fromkeys(FAULT_KINDS, 25)
    assert {kind: kinds.count(kind) for kind in BENIGN_KINDS} == dict.fromkeys(BENIGN_KINDS, 20)


def test_an_unknown_kind_is_refused():
    with pytest.raises(ValueError, match="no kind of story 'tsunami'"):
        story(SEED, 0, "tsunami")


@pytest.mark.parametrize("variant", range(4))
@pytest.mark.parametrize("kind", SHUTS_OFF)
def test_a_unit_switches_itself_off_after_the_onset_and_a_minute_under_its_limit(kind, variant):
    tale = told(kind, variant)
    if tale.shutdown_ms is None:
        assert kind == "supply-voltage-low"  # not every sag is deep enough
        return
    off = int(np.searchsorted(tale.time_ms, tale.shutdown_ms))
    last_minute = slice(off - 60_000 // tale.step_ms, off)
    assert tale.onset_ms < tale.shutdown_ms
    assert (tale.true_purity_pct[last_minute] < tale.model.shutdown_pct).all()
    assert not tale.running[off:].any()
    assert (tale.true_purity_pct[off:] == AIR_PCT).all()
    assert (tale.true_flow_lpm[off:] == 0).all()
    assert np.nanmax(tale.measured["power_w"][off:]) < 15
    assert tale.time_ms[-1] - tale.shutdown_ms == pytest.approx(30 * 60_000, abs=2 * tale.step_ms)


@pytest.mark.parametrize("kind", [*FAULT_KINDS, *BENIGN_KINDS])
def test_purity_falls_with_flow_beyond_what_low_flow_costs_some_designs(kind):
    tale = told(kind)
    rows = np.array([0, len(tale.time_ms) // 2, len(tale.time_ms) - 1])
    purities = np.array([tale.steady(flow, rows) for flow in np.linspace(2.0, 30.0, 57)])
    assert (np.diff(purities, axis=0) < 0.15).all()
    assert (purities[-1] < purities[0] - 5).all()


@pytest.mark.parametrize("variant", range(3))
@pytest.mark.parametrize("kind", LOSES_CAPACITY)
def test_what_the_unit_can_give_falls_in_every_fault_of_the_unit(kind, variant):
    tale = told(kind, variant)
    onset = int(np.searchsorted(tale.time_ms, tale.onset_ms))
    flow = 1.1 * tale.steady.design.capacity_lpm
    before = tale.steady(flow, np.arange(max(onset - 100, 0), onset)).mean()
    assert tale.steady(flow)[-100:].mean() < before - 4


def test_the_truth_is_known_past_the_recording():
    tale = told("sieve-worn")
    assert tale.rows_known > len(tale.time_ms)
    beyond = tale.steady(1.0, np.array([len(tale.time_ms), tale.rows_known - 1]))
    assert beyond[1] < beyond[0] <= tale.steady(1.0)[0]


@pytest.mark.parametrize("variant", range(5))
def test_a_sensor_fault_shows_in_what_is_measured_and_not_in_what_is_true(variant):
    tale = told("sensor-fault", variant)
    seen, after = tale.measured["purity_pct"], tale.time_ms > tale.onset_ms
    assert tale.shutdown_ms is None
    assert tale.true_purity_pct.min() > 88
    if variant == 2:  # stuck
        assert len(np.unique(seen[after & ~np.isnan(seen)])) == 1
    else:
        worst = np.nanmax(np.abs(seen - tale.true_purity_pct)[after])
        assert worst > 3


@pytest.mark.parametrize("variant", range(2))
@pytest.mark.parametrize("kind", BENIGN_KINDS)
def test_a_benign_unit_never_comes_near_its_switch_off(kind, variant):
    tale = told(kind, variant)
    assert tale.onset_ms is None
    assert tale.shutdown_ms is None
    assert tale.true_purity_pct[armed(tale)].min() > tale.model.shutdown_pct + 3


def test_an_overdraw_comes_down_to_eighty_to_ninety_and_is_turned_down():
    tale = told("overdraw")
    over = tale.true_flow_lpm > 1.02 * tale.model.rated_flow_lpm
    assert over.sum() * tale.step_ms / HOUR_MS >= 5 / 60
    assert 78 < tale.true_purity_pct[over].min() < 90
    assert not over[-1]


@pytest.mark.parametrize(
    ("kind", "quantity", "low", "high"),
    [
        ("intake-blocked", "temp_c", 1.0, 25.0),
        ("compressor-weak", "power_w", -0.45 * 700, -0.05 * 250),
        ("leak", "flow_lpm", -6.0, -0.2),
        ("supply-voltage-low", "volts", -0.25 * 230, -0.08 * 110),
    ],
)
def test_a_fault_leaves_its_signs(kind, quantity, low, high):
    tale = next(told(kind, variant) for variant in (0, 4, 8) if told(kind, variant).shutdown_ms)
    before, late = before_and_in(tale, quantity)
    assert low < late - before < high


@pytest.mark.parametrize("variant", range(3))
def test_a_failed_valve_moves_the_power_at_once(variant):
    tale = told("valve-fault", variant)
    before = np.nanmedian(window(tale, "power_w", tale.onset_ms - HOUR_MS, tale.onset_ms))
    after = np.nanmedian(window(tale, "power_w", tale.onset_ms, tale.onset_ms + 60_000))
    assert 0.06 < abs(after / before - 1) < 0.27


def test_readings_are_in_order_plausible_and_leave_out_what_is_missing():
    tale = told("gaps")
    readings = list(tale.readings())
    times = [reading.time_ms for reading in readings]
    missing = np.all([np.isnan(values) for values in tale.measured.values()], axis=0)
    assert len(readings) == (~missing).sum() < len(missing)
    assert times == sorted(set(times))
    assert {reading.unit for reading in readings} == {UNIT}
    assert [why for reading in readings if (why := fault_in(reading))] == []
    assert tale.site().model_of(UNIT) == tale.model


def test_noise_is_correlated_and_as_loud_as_instruments_are():
    # 0.15 to 0.5 % as the stories' module heads state (common practice), on top of the slow weather and rounding
    spreads = [np.nanstd(told("calm", variant).measured["purity_pct"][:8000]) for variant in (0, 2, 4, 6)]
    assert min(spreads) > 0.1
    assert max(spreads) < 2.0  # with spikes
    noise = wander(np.random.default_rng(1), 50_000, 10.0, 0.3, 100.0)
    assert np.std(noise) == pytest.approx(0.3, rel=0.05)
    assert np.corrcoef(noise[1:], noise[:-1])[0, 1] == pytest.approx(np.exp(-0.1), abs=0.02)


@pytest.mark.parametrize("spread", [0.02, 0.08, 0.15])
def test_the_closed_form_is_the_mean_over_the_channels(spread):
    for load in (0.7, 1.0, 1.3, 2.5):
        mean, _ = quad(lambda z, x=load: norm.pdf(z) * min(1.0, np.exp(-spread * z) / x), -9, 9, limit=400)
        assert spread_share(load, spread) == pytest.approx(mean, abs=1e-6)


def test_load_at_turns_the_curve_round():
    curve = Curve(0.1, 0.15, 1.2)
    assert curve.share(curve.load_at(0.67)) == pytest.approx(0.67, abs=1e-9)


def test_many_curves_are_none_of_the_estimators():
    """The estimator takes (1 + x^k)^(-1/k), k in 5 to 18; for half of the designs the best is off by half a point."""
    rng, load = np.random.default_rng(SEED), np.linspace(0.5, 1.6, 60)
    misfits = []
    for design in (draw_design(rng) for _ in range(40)):
        share = design.curve.share(load)
        fit = least_squares(
            lambda p, y=share: (1 + (load / p[0]) ** p[1]) ** (-1 / p[1]) - y, [1, 9], bounds=([0.5, 5], [2, 18])
        )
        misfits.append(74 * np.abs(fit.fun).max())
    assert np.median(misfits) > 0.5
    assert max(misfits) > 1.5


def test_a_lag_carries_over_from_stretch_to_stretch():
    goal, tau = np.full(200, 90.0), np.repeat([100.0, 20.0, 0.0, 100.0], 50)
    seen = lagged(goal, tau, 10.0, 20.0)
    assert seen[9] == pytest.approx(90 - 70 * np.exp(-1))
    assert seen[51] == pytest.approx(90 - 70 * np.exp(-5) * np.exp(-1))
    assert (seen[100:] == 90.0).all()


@pytest.mark.parametrize("bend", [-2.0, 1.0, 2.5])
def test_a_fault_is_whole_at_progress_one_and_goes_on(bend):
    none, whole, beyond = grown(np.array([-1.0, 1.0, 1.5]), bend)
    assert none == 0
    assert whole == pytest.approx(1)
    assert beyond > 1.05
