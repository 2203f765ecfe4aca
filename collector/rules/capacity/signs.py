"""What a unit shows besides purity: power, pressure, cabinet temperature, supply and flow against its own normal.

Normal is a straight line in flow, fitted by least squares while the unit is well, and held as it is from when
capacity is seen to fall. Signs are present values less normal, smoothed over some minutes: one wild value is none.
They are evidence for a cause (rules/causes.py) and warn of falls that purity hides behind a sharp corner.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import Final

import msgspec

#: Weight of what lies this far back falls to 1/e: a unit's normal changes with seasons and services.
NORMAL_HORIZON_H: Final = 60 * 24.0
#: Signs are smoothed over so long; a supply that was low is remembered for a quarter of an hour.
SMOOTH_H: Final = 0.4
POWER_DAY_H: Final = 12.0
TEMP_DAY_H: Final = 24.0
SUPPLY_MEMORY_H: Final = 0.25
DRIFT_MEMORY_H: Final = 24.0
#: So much of its time a unit must have been watched before its normal is worth comparing with.
LEARN_H: Final = 3.0
#: Prior variance of a slope in units of the noise (per L/min some 10 W against 6 W of noise, 3 kPa against 2, 1 K
#: against 1.5; common practice), made 50 times less since the noise of rooms and mains goes on for hours.
SLOPE: Final = 0.05
#: A line says nothing of flows further from those it has seen than so many of their standard deviations.
REACH_SD: Final = 2.5


class Line(msgspec.Struct, array_like=True, gc=False):
    """y = a + b x by least squares over all points, older ones fading; sums are all that is kept.

    The slope has a prior (mean 0, variance `slope_var` in units of the noise's), so that points at one flow only give
    a level line; with slope_var infinite it is ordinary least squares.
    """

    s: float = 0.0
    sx: float = 0.0
    sy: float = 0.0
    sxx: float = 0.0
    sxy: float = 0.0
    n: int = 0

    def add(self, x: float, y: float, keep: float = 1.0) -> None:
        """Take in one point; what was before keeps the share `keep` of its weight."""
        self.s = self.s * keep + 1.0
        self.sx = self.sx * keep + x
        self.sy = self.sy * keep + y
        self.sxx = self.sxx * keep + x * x
        self.sxy = self.sxy * keep + x * y
        self.n += 1

    def fit(self, slope_var: float = SLOPE) -> tuple[float, float]:
        """Intercept and slope; ZeroDivisionError without a point."""
        mean_x, mean_y = self.sx / self.s, self.sy / self.s
        slope = (self.sxy - self.sx * mean_y) / (self.sxx - self.sx * mean_x + 1.0 / slope_var)
        return mean_y - slope * mean_x, slope

    def at(self, x: float) -> float:
        """The line's value, no further out than the flows it was made from."""
        intercept, slope = self.fit()
        mean_x = self.sx / self.s
        reach = REACH_SD * sqrt(max(self.sxx / self.s - mean_x * mean_x, 0.0))
        return intercept + slope * min(max(x, mean_x - reach), mean_x + reach)


class Signs(msgspec.Struct, array_like=True):
    """A unit's normal and how far it is off: shares of normal for power and pressure, K for temperature."""

    power: Line = msgspec.field(default_factory=Line)
    pressure: Line = msgspec.field(default_factory=Line)
    temp: Line = msgspec.field(default_factory=Line)
    watched_h: float = 0.0
    power_off: float = 0.0
    pressure_off: float = 0.0
    temp_off_k: float = 0.0
    power_day: float = 0.0  # the same over half a day and over a whole one: rooms warm up and cool down
    temp_day_k: float = 0.0
    volts_off: float = 0.0  # lowest lately, as a share of nominal
    base_lpm: float = 0.0  # flow when it was last set
    drift: float = 0.0  # ln of flow now over flow when it was last set
    ran_off: float = 0.0  # the furthest that flow has lately run away by itself (ln), fading over a day
    jump_pct: float = 0.0  # last sudden change of purity that nothing else explains
    jump_level_pct: float = 0.0  # and where it came to rest
    jump_ms: int = 0
    valve_n: int = 0  # means of this fall in which power had jumped
    valve_ms: int = 0  # when power last jumped as purity began to fall
    warm_k: float = 0.0  # cabinet against its normal, the room's share in it
    room_k: float = 0.0  # what the ward's units are warmer by together: the room, and no sign of this unit's

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
        signs.warm_k = _off(signs.warm_k, signs.temp, x, now.temp_c, near, relative=False)
        signs.temp_off_k = signs.warm_k - signs.room_k
        signs.power_day += (1.0 - exp(-dt_h / POWER_DAY_H)) * (signs.power_off - signs.power_day)
        signs.temp_day_k += (1.0 - exp(-dt_h / TEMP_DAY_H)) * (signs.temp_off_k - signs.temp_day_k)
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


def power_now(signs: Signs, now: Present) -> float:
    """How far power is off its normal at this moment, as a share; 0 while that is not known."""
    if now.power_w is None or not signs.learned or signs.power.n < 10:
        return 0.0
    return now.power_w / max(abs(signs.power.at(now.flow_lpm)), 1.0) - 1.0


def _off(before: float, line: Line, x: float, value: float | None, near: float, *, relative: bool) -> float:
    if value is None or line.n < 10:
        return before
    normal = line.at(x)
    off = (value - normal) / max(abs(normal), 1.0) if relative else value - normal
    return before + near * (off - before)
