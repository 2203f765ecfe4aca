"""What a unit shows besides purity: power, pressure, cabinet temperature, supply and flow against its own normal.

Normal is a straight line in flow, fitted by recursive least squares while the unit is well, and held as it is from when
capacity is seen to fall. Signs are present values less normal, smoothed over some minutes: one wild value is none.
They are evidence for a cause (rules/causes.py) and warn of falls that purity hides behind a sharp corner.
"""

from __future__ import annotations

from math import exp, log
from typing import Final

import msgspec

#: Weight of what lies this far back falls to 1/e: a unit's normal changes with seasons and services.
NORMAL_HORIZON_H: Final = 60 * 24.0
#: Signs are smoothed over so long; a supply that was low is remembered for a quarter of an hour.
SMOOTH_H: Final = 0.15
SUPPLY_MEMORY_H: Final = 0.25
DRIFT_MEMORY_H: Final = 24.0
#: So much of its time a unit must have been watched before its normal is worth comparing with.
LEARN_H: Final = 3.0
#: Prior variances of a line's level (nothing is known) and slope, in units of the noise: per L/min it is some 10 W
#: against 6 W of noise, 3 kPa against 2, 1 K against 1.5, so a line seen at one flow only stays nearly level.
WIDE: Final = 1e4
SLOPE: Final = 2.5


class Line(msgspec.Struct, array_like=True, gc=False):
    """y = a + b x, with the covariance (paa, pab, pbb) of a and b in units of the noise; n counts points."""

    a: float = 0.0
    b: float = 0.0
    paa: float = WIDE
    pab: float = 0.0
    pbb: float = SLOPE
    n: int = 0

    def add(self, x: float, y: float, keep: float = 1.0) -> None:
        """Take in one point; `keep` < 1 lets older ones fade; with 1 it is least squares, up to the wide prior."""
        gain_a, gain_b = self.paa + self.pab * x, self.pab + self.pbb * x
        spread = keep + gain_a + gain_b * x
        off = y - self.at(x)
        self.a += gain_a / spread * off
        self.b += gain_b / spread * off
        pab = self.pab
        self.pab = (pab - gain_a * gain_b / spread) / keep
        self.paa = min((self.paa - gain_a * gain_a / spread) / keep, WIDE)
        self.pbb = min((self.pbb - gain_b * gain_b / spread) / keep, SLOPE)
        self.n += 1

    def at(self, x: float) -> float:
        """The line's value."""
        return self.a + self.b * x


class Signs(msgspec.Struct, array_like=True):
    """A unit's normal and how far it is off: shares of normal for power and pressure, K for temperature."""

    power: Line = msgspec.field(default_factory=Line)
    pressure: Line = msgspec.field(default_factory=Line)
    temp: Line = msgspec.field(default_factory=Line)
    watched_h: float = 0.0
    power_off: float = 0.0
    pressure_off: float = 0.0
    temp_off_k: float = 0.0
    volts_off: float = 0.0  # lowest lately, as a share of nominal
    base_lpm: float = 0.0  # flow when it was last set
    drift: float = 0.0  # ln of flow now over flow when it was last set
    ran_off: float = 0.0  # the furthest that flow has lately run away by itself (ln), fading over a day
    jump_pct: float = 0.0  # last sudden change of purity that nothing else explains
    jump_ms: int = 0
    power_ms: int = 0  # since when power has been lastingly under normal

    @property
    def learned(self) -> bool:
        """Whether the unit's normal is known well enough to compare with."""
        return self.watched_h >= LEARN_H


class Present(msgspec.Struct, array_like=True, gc=False):
    """A unit's values at one mean; volts as a share of nominal, None: not measured."""

    flow_lpm: float
    power_w: float | None
    pressure_kpa: float | None
    temp_c: float | None
    volts_share: float | None


def follow_signs(signs: Signs, now: Present, dt_h: float, well: bool) -> None:
    """Compare present values with normal, and learn from them while the unit is well."""
    near = 1.0 - exp(-dt_h / SMOOTH_H)
    x = now.flow_lpm
    if signs.learned:
        signs.power_off = _off(signs.power_off, signs.power, x, now.power_w, near, relative=True)
        signs.pressure_off = _off(signs.pressure_off, signs.pressure, x, now.pressure_kpa, near, relative=True)
        signs.temp_off_k = _off(signs.temp_off_k, signs.temp, x, now.temp_c, near, relative=False)
    if now.volts_share is not None:
        held = signs.volts_off * exp(-dt_h / SUPPLY_MEMORY_H)
        signs.volts_off = min(now.volts_share - 1.0, held)
    signs.drift = log(x / signs.base_lpm) if signs.base_lpm else 0.0
    signs.ran_off = min(signs.drift, signs.ran_off * exp(-dt_h / DRIFT_MEMORY_H))
    if well and abs(signs.drift) < 0.03:
        keep = exp(-dt_h / NORMAL_HORIZON_H)
        for line, value in ((signs.power, now.power_w), (signs.pressure, now.pressure_kpa), (signs.temp, now.temp_c)):
            if value is not None:
                line.add(x, value, keep)
        signs.watched_h += min(dt_h, 0.5)


def _off(before: float, line: Line, x: float, value: float | None, near: float, *, relative: bool) -> float:
    if value is None or line.n < 10:
        return before
    normal = line.at(x)
    off = (value - normal) / max(abs(normal), 1.0) if relative else value - normal
    return before + near * (off - before)
