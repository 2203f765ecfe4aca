"""The simulator's physics against published figures, and against values worked out independently of our code.

Source: Johns et al., Thorax 1985;40:806: ceiling about 96 % because argon is concentrated along with oxygen; 90 % of
the rise within 10.5 min from cold, six models. Source: ISO 2533 / ICAO standard atmosphere (1993), geometric heights,
as the package `ambiance` 1.3.1 computes them. "Computed" values were worked out by hand from a mass balance (all
oxygen that the sieve can separate, the rest of the flow room air); they check our arithmetic, not real devices.
"""

import numpy as np
import pytest

from simulator import physics


@pytest.mark.parametrize(
    ("flow_lpm", "capacity_lpm", "expected_pct"),
    [(5.0, 5.5, 95.6), (5.5, 5.5, 95.6), (6.0, 5.5, 89.4), (7.0, 5.5, 79.6), (8.0, 5.5, 72.3), (12.0, 11.0, 89.4)],
)
def test_purity_against_flow_over_capacity(flow_lpm, capacity_lpm, expected_pct):
    """Computed: (F0 x 95.6 + (F - F0) x 20.9) / F above capacity."""
    assert physics.purity_pct(flow_lpm, capacity_lpm) == pytest.approx(expected_pct, abs=0.05)


@pytest.mark.parametrize(
    ("purity_pct", "share_left"), [(93.0, 0.877), (90.0, 0.841), (85.0, 0.780), (82.0, 0.744), (70.0, 0.598)]
)
def test_capacity_left_at_rated_flow(purity_pct, share_left):
    """Computed: share of a new unit's capacity (1.1 x rated) at which purity at rated flow is so much."""
    capacity_lpm = share_left * physics.NEW_CAPACITY_SHARE * 5.0
    assert physics.purity_pct(5.0, capacity_lpm) == pytest.approx(purity_pct, abs=0.1)


def test_slope_of_purity_at_five_litres():
    """Computed: 74.7 / 5 = 14.94 points for each L/min of capacity."""
    slope = physics.purity_pct(5.0, 4.5) - physics.purity_pct(5.0, 3.5)
    assert slope == pytest.approx(14.94, abs=0.01)


def test_low_flow_hides_wear():
    """Computed: half of a 5 L unit's capacity may be gone while 2 L/min still reads the ceiling."""
    assert physics.purity_pct(2.0, 0.5 * 5.5) == physics.ARGON_CEILING_PCT
    assert physics.purity_pct(5.0, 0.5 * 5.5) < 70


def test_nothing_above_the_argon_ceiling():
    """Source: Johns et al., Thorax 1985;40:806; dry air's 20.95 % oxygen and 0.93 % argon give 95.75 % at most."""
    flows = np.linspace(0.0, 20.0, 500)
    for knee in (np.inf, 5.0, 30.0):
        assert physics.purity_pct(flows, 5.5, knee=knee).max() <= 100 * 20.95 / (20.95 + 0.93)


def test_a_rounded_knee_never_beats_the_sharp_one_and_meets_it_far_off():
    """Common practice, no source: designs differ near their capacity, and agree well below and well above it."""
    flows = np.linspace(0.5, 12.0, 300)
    sharp, rounded = physics.purity_pct(flows, 5.5), physics.purity_pct(flows, 5.5, knee=15.0)
    assert np.all(rounded <= sharp + 1e-9)
    assert sharp[0] - rounded[0] < 0.01
    assert sharp[-1] - rounded[-1] < 0.01
    assert (sharp - rounded).max() > 1.0
    assert np.all(np.diff(rounded) <= 1e-12)


def test_warm_up_is_within_what_six_models_did():
    """Source: Johns et al., Thorax 1985;40:806: 90 % of the rise in under 10.5 min."""
    for tau_s in (physics.WARM_UP_TAU_S, physics.WARM_UP_TAU_MAX_S):
        reached = physics.warming_pct(630.0, 95.0, tau_s)
        assert reached - physics.AIR_PCT >= 0.9 * (95.0 - physics.AIR_PCT)


def test_warm_up_to_the_alarm_limit():
    """Computed: 82 % five minutes after a start that ends at 93 % takes a time constant of 2.66 min."""
    assert physics.warming_pct(300.0, 93.0, 2.66 * 60) == pytest.approx(82.0, abs=0.05)
    assert abs(physics.WARM_UP_TAU_S - 2.66 * 60) < 1.0


def test_stepping_and_the_closed_form_agree():
    """Computed: thirty steps of 10 s are the same as 300 s."""
    purity = physics.AIR_PCT
    for _ in range(30):
        purity += float(physics.approach_share(10.0, 160.0)) * (93.0 - purity)
    assert purity == pytest.approx(float(physics.warming_pct(300.0, 93.0, 160.0)), abs=1e-9)


@pytest.mark.parametrize(
    ("height_m", "expected_kpa"),
    [(0, 101.325), (500, 95.461), (1000, 89.876), (1500, 84.560), (2000, 79.501), (3000, 70.121), (5000, 54.048)],
)
def test_standard_atmosphere(height_m, expected_kpa):
    """Source: ISO 2533 / ICAO standard atmosphere, geometric height."""
    assert physics.air_pressure_kpa(height_m) == pytest.approx(expected_kpa, abs=0.003)


@pytest.mark.parametrize(("height_m", "expected"), [(0, 1.0), (1000, 0.887), (2000, 0.785)])
def test_capacity_goes_with_the_air_taken_in(height_m, expected):
    """Computed from the standard atmosphere, at 15 degC: 1000 m leaves 0.887 of the mass flow, 2000 m 0.785."""
    assert physics.inlet_density_share(physics.air_pressure_kpa(height_m), 15.0) == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(("volts_share", "at_least", "at_most"), [
    (1.1, 1.0, 1.0), (1.0, 1.0, 1.0), (0.90, 1.0, 1.0), (0.85, 0.75, 0.95), (0.80, 0.6, 0.8), (0.79, 0.0, 0.0),
])  # fmt: skip
def test_compressor_speed_against_voltage(volts_share, at_least, at_most):
    """Common practice, no source: nearly constant to about 90 % of nominal, falling below, stalled at about 80 %."""
    assert at_least <= float(physics.speed_share(volts_share)) <= at_most


def test_power_stays_under_the_published_ceiling():
    """Source: WHO, Technical specifications for oxygen concentrators (2015), as a brief cites it: 70 W a L/min."""
    for rated_lpm, most_w in ((5.0, 350.0), (10.0, 700.0)):
        assert physics.power_w(70.0 * rated_lpm, 1.0, 0.0) <= most_w


def test_power_moves_little_with_load_and_falls_with_a_clogged_intake():
    """Common practice, no source: up to 10 % with load; less air moved, a little less power."""
    idle, full = physics.power_w(350.0, 0.0, 0.0), physics.power_w(350.0, 1.0, 0.0)
    assert 1.0 < full / idle < 1.1
    assert 0.8 * full < physics.power_w(350.0, 1.0, 0.3) < full


def test_a_clogged_intake_warms_the_cabinet_by_five_to_fifteen_kelvin():
    """Common practice, no source."""
    for closed in (0.2, 0.45):
        assert 5.0 <= physics.cabinet_heat_k(0.8, closed) - physics.cabinet_heat_k(0.8, 0.0) <= 15.0


def test_outlet_pressure_is_that_of_real_devices():
    """Source: a supply brief on WHO 2015 and WHO-UNICEF 2019: outlet pressure of real devices 30 to 135 kPa."""
    for load in (0.0, 0.5, 1.0):
        assert 30.0 <= physics.outlet_kpa(load, 1.0, 1.0) <= 135.0


def test_ageing():
    """Common practice, no source: about 1 % of capacity in 1000 h when dry and clean."""
    assert physics.aged_share(1000.0) == pytest.approx(0.99)
    assert physics.aged_share(1e9) > 0
