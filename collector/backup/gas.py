"""How much oxygen a cylinder still gives: a real gas, always on the safe side.

Oxygen under pressure is denser than an ideal gas, up to 8 % at 15 °C; in a hot room the same gauge pressure means less
gas, 11 % less at 40 °C than at 15 °C. So contents are those of a cylinder as hot as a ward gets, HOTTEST_C, in litres
as a flow meter counts them at 15 °C and sea level (a meter marked for a warmer room, or one high above the sea, uses
less gas for each of its litres).

The equation: Z = 1 + (A1 t + A3 t^3) p + B t^3 p^2 + C t^4 p^3, t = 300 K / T, p in MPa absolute: a virial equation in
pressure. Its coefficients were fitted so that Z is never under that of the reference equation of state (Schmidt and
Wagner, Fluid Phase Equilibria 1985;19:175, as CoolProp 8.0.0 has it) from -10 to 60 °C up to 25 MPa, and at most 0.52 %
over it: contents come out at most so much too small (tests/external/test_cylinders.py).
"""

from __future__ import annotations

from typing import Final

ATM_KPA: Final = 101.325
#: As hot as a cylinder gets in a ward without cooling (common practice, no source).
HOTTEST_C: Final = 40.0
_FREE_K: Final = 288.15  # 15 °C, at which free litres are counted
_FREE_Z: Final = 0.9992  # of oxygen at 15 °C and 101.325 kPa, by the same equation of state, rounded down
_KELVIN: Final = 273.15
_A1: Final = 0.00706
_A3: Final = -0.01297
_B: Final = 1.235e-4
_C: Final = 2.5e-6
#: What stays behind is counted with the equation's largest error the other way, so that the difference is safe too.
_LEFT: Final = 1.0052


def compressibility(abs_kpa: float, temp_c: float) -> float:
    """Z of oxygen at an absolute pressure in kPa, up to 25 MPa, and -10 to 60 °C; 1 for an ideal gas."""
    t, p = 300.0 / (temp_c + _KELVIN), abs_kpa / 1000.0
    return 1.0 + (_A1 * t + _A3 * t**3) * p + _B * t**3 * p**2 + _C * t**4 * p**3


def free_litres(gauge_kpa: float, temp_c: float = HOTTEST_C) -> float:
    """Litres of free oxygen (15 °C, 101.325 kPa) in each litre of water capacity, all that is inside."""
    abs_kpa = gauge_kpa + ATM_KPA
    return abs_kpa / ATM_KPA * _FREE_Z * _FREE_K / (temp_c + _KELVIN) / compressibility(abs_kpa, temp_c)


def gives_l(water_l: float, gauge_kpa: float, left_kpa: float = 0.0, temp_c: float = HOTTEST_C) -> float:
    """Litres of free oxygen that a cylinder gives until its gauge shows left_kpa; 0 when it shows less already."""
    if gauge_kpa <= left_kpa:
        return 0.0
    return max(0.0, water_l * (free_litres(gauge_kpa, temp_c) - _LEFT * free_litres(left_kpa, temp_c)))
