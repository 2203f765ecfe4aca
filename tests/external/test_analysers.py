"""What analysers show wrongly, against published sources.

Air pressure by height: ISO 2533:1975 (the ICAO standard atmosphere has the same values), geometric heights, as the
package ambiance computes them. Heat capacities and molar masses: CoolProp, whose equations are those of NIST's
reference data. Composition of dry air: ISO 2533 table 1 (20.9476 % oxygen, 0.934 % argon), from memory. That a sieve
lets argon through with oxygen in air's proportion, and that ultrasonic analysers without a correction take the gas for
oxygen and nitrogen: common practice, no source.
"""

import math

import pytest
from CoolProp.CoolProp import PropsSI

from collector.bridge.analyser import ARGON_PER_OXYGEN, corrected_for_argon, corrected_for_pressure, pressure_at_kpa

GASES = ("Oxygen", "Nitrogen", "Argon")
KELVIN = 298.15


@pytest.mark.parametrize(
    ("height_m", "kpa"),
    [(0, 101.325), (500, 95.461), (1000, 89.876), (1500, 84.560), (2000, 79.501), (2500, 74.692), (3000, 70.121),
     (4000, 61.660), (5000, 54.048)],
)  # fmt: skip
def test_air_pressure_by_height(height_m, kpa):
    assert pressure_at_kpa(height_m) == pytest.approx(kpa, abs=0.001)


@pytest.mark.parametrize(("height_m", "shown"), [(1000, 82.5), (1500, 77.6), (2000, 73.0), (3000, 64.4)])
def test_a_galvanic_cell_calibrated_at_sea_level_shows_93_percent_as_its_partial_pressure_says(height_m, shown):
    assert corrected_for_pressure(shown, pressure_at_kpa(0), pressure_at_kpa(height_m)) == pytest.approx(93.0, abs=0.07)


def heat_capacity(gas):
    """At constant pressure, as an ideal gas, in J/(mol K)."""
    return PropsSI("CP0MOLAR", "T", KELVIN, "P", 101_325, gas)


def sound_m_s(shares):
    """Speed of sound of an ideal mixture at 25 degC from CoolProp's pure gases."""
    heat = sum(share * heat_capacity(gas) for gas, share in shares.items())
    mass = sum(share * PropsSI("M", gas) for gas, share in shares.items())
    gas_constant = PropsSI("GAS_CONSTANT", "Oxygen")
    return math.sqrt(heat / (heat - gas_constant) * gas_constant * KELVIN / mass)


def shown_pct(true_pct):
    """What an analyser shows that takes the gas for oxygen and nitrogen: where the speeds of sound agree."""
    oxygen = true_pct / 100
    argon = oxygen * ARGON_PER_OXYGEN
    heard = sound_m_s({"Oxygen": oxygen, "Argon": argon, "Nitrogen": 1 - oxygen - argon})
    low, high = 0.0, 1.3
    for _ in range(60):
        middle = (low + high) / 2
        faster = sound_m_s({"Oxygen": middle, "Nitrogen": 1 - middle}) > heard
        low, high = (middle, high) if faster else (low, middle)
    return 100 * low


@pytest.mark.parametrize("true_pct", [20.9476, 50.0, 70.0, 82.0, 85.0, 90.0, 93.0, 95.7])
def test_the_argon_correction_undoes_what_the_speed_of_sound_says(true_pct):
    assert corrected_for_argon(shown_pct(true_pct)) == pytest.approx(true_pct, abs=0.02)


def test_without_it_93_percent_looks_like_more_than_pure_oxygen_and_the_low_alarm_comes_late():
    assert shown_pct(93.0) > 101
    assert shown_pct(82.0) == pytest.approx(89.5, abs=0.5)


def test_coolprops_own_speed_of_sound_of_pure_gases_agrees_with_the_ideal_one():
    for gas in GASES:
        assert sound_m_s({gas: 1.0}) == pytest.approx(PropsSI("A", "T", KELVIN, "P", 101_325, gas), rel=1e-3)
