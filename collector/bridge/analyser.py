"""What kinds of oxygen analyser read wrongly, and by how much: corrections where a profile states the kind.

A galvanic cell follows oxygen's partial pressure, so percent hold only at the pressure it was calibrated at. An
ultrasonic one hears the speed of sound and takes the gas for oxygen and nitrogen alone; argon makes product look purer
than it is. A zirconia cell compares with room air at the same pressure, and nothing is corrected.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, Literal, NamedTuple

from pydantic import model_validator

from collector.site_tables import Table

GAS_CONSTANT: Final = 8.314462618  # J/(mol K), CODATA 2018
#: Molar mass in g/mol and ideal-gas heat capacity at constant pressure in J/(mol K) at 25 degC (NIST Chemistry
#: WebBook, from memory; the outside check compares them with CoolProp).
_OXYGEN: Final = (31.9988, 29.378)
_NITROGEN: Final = (28.0134, 29.124)
_ARGON: Final = (39.948, 20.786)
#: A sieve takes nitrogen; oxygen and argon leave in the share they have in air (ISO 2533: 20.9476 % and 0.934 %).
ARGON_PER_OXYGEN: Final = 0.934 / 20.9476
SEA_LEVEL_KPA: Final = 101.325


class Analyser(Table):
    """The kind of analyser that measures purity in a unit, and what it corrects by itself.

    pressure_compensated: a galvanic one that measures the pressure. argon_corrected: an ultrasonic one that states it.
    """

    kind: Literal["galvanic", "ultrasonic", "zirconia"]
    pressure_compensated: bool | None = None
    argon_corrected: bool | None = None

    @model_validator(mode="after")
    def _states_its_trap(self) -> Analyser:
        for kind, key in (("galvanic", "pressure_compensated"), ("ultrasonic", "argon_corrected")):
            if (self.kind == kind) != (getattr(self, key) is not None):
                what = f"say {key} = true or false" if self.kind == kind else f"{key} is for '{kind}' only"
                raise ValueError(f"an analyser of the kind '{self.kind}': {what}")
        return self


class Correction(NamedTuple):
    """What is done to purity in %, and a sentence that says so; nothing is done where there is none."""

    apply: Callable[[float], float]
    said: str


def pressure_at_kpa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere in kPa at a geometric height in m, -450 to 11,000 (ISO 2533)."""
    geopotential_m = 6_356_766.0 * altitude_m / (6_356_766.0 + altitude_m)
    return SEA_LEVEL_KPA * math.pow(1 - 0.0065 * geopotential_m / 288.15, 5.255876)


def corrected_for_pressure(shown_pct: float, calibrated_kpa: float, here_kpa: float) -> float:
    """Purity in % behind what a galvanic cell shows that was calibrated at another pressure (ideal gas)."""
    return shown_pct * calibrated_kpa / here_kpa


def corrected_for_argon(shown_pct: float) -> float:
    """Purity in % behind what an ultrasonic analyser shows that knows oxygen and nitrogen only (25 degC, ideal gas).

    The speed of sound is the same in what it believes in and in what is there; heat capacity and molar mass of a
    mixture are linear in its shares, which makes that a quadratic equation in the true share.
    """
    y = shown_pct / 100
    heat, mass = (_NITROGEN[i] + y * (_OXYGEN[i] - _NITROGEN[i]) for i in (1, 0))
    g = heat / ((heat - GAS_CONSTANT) * mass)  # speed of sound squared over R T
    r = ARGON_PER_OXYGEN
    (m0, m1), (c0, c1) = ((_NITROGEN[i], _OXYGEN[i] - _NITROGEN[i] + r * (_ARGON[i] - _NITROGEN[i])) for i in (0, 1))
    a, b, c = g * c1 * m1, g * (c1 * m0 + (c0 - GAS_CONSTANT) * m1) - c1, g * (c0 - GAS_CONSTANT) * m0 - c0
    return 100 * (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)


def correction(analyser: Analyser | None, altitude_m: float, calibrated_altitude_m: float | None) -> Correction | None:
    """What an analyser's purity needs at this height; calibrated_altitude_m None: it was calibrated here."""
    if analyser is None:
        return None
    if analyser.kind == "ultrasonic" and not analyser.argon_corrected:
        return Correction(corrected_for_argon, "purity corrected for argon (ultrasonic; not so for a pure gas)")
    if analyser.kind == "galvanic" and not analyser.pressure_compensated and calibrated_altitude_m is not None:
        there, here = pressure_at_kpa(calibrated_altitude_m), pressure_at_kpa(altitude_m)
        heights = f"calibrated at {calibrated_altitude_m:g} m, stands at {altitude_m:g} m"
        said = f"purity x {there / here:.4f}: galvanic, {heights}"
        return Correction(lambda shown_pct: corrected_for_pressure(shown_pct, there, here), said)
    return None


def remark(analyser: Analyser | None, calibrated_altitude_m: float | None) -> str:
    """What people must know of an analyser that nothing is corrected of; "" when there is nothing."""
    if analyser and analyser.kind == "galvanic" and not analyser.pressure_compensated and calibrated_altitude_m is None:
        return "galvanic: taken as calibrated where it stands; if not, give the port calibrated_altitude_m"
    return ""
