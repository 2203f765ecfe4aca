"""What a pressure-swing concentrator does, as far as it can be said simply and defended.

Rules of this file: pure functions of numbers or numpy arrays; no clock, no randomness, no IO. Each says where its form
comes from; "common practice" means a fact of the trade with no source to cite. It shapes a demo; it proves nothing
about real devices.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Quantity = float | Array

#: Oxygen in dry room air, % by volume.
AIR_PCT: Final = 20.9
#: The most a sieve can deliver: argon passes with the oxygen, 20.95 / (20.95 + 0.93) = 95.75 %, some of it lost
#: (Johns et al., Thorax 1985;40:806: about 96 %, with argon found by mass spectrometry).
ARGON_CEILING_PCT: Final = 95.6
#: A new unit separates this many times its rated flow. Common practice.
NEW_CAPACITY_SHARE: Final = 1.1
#: 82 % five minutes after a cold start that ends at 93 %; 90 % of the rise within 10.5 min at most (Johns et al.,
#: Thorax 1985;40:806) allows up to 273 s.
WARM_UP_TAU_S: Final = 160.0
WARM_UP_TAU_MAX_S: Final = 273.0
#: Nitrogen breaks through faster than the bed is purged of it; a failed valve shows within a few cycles of 5 to 20 s.
#: Common practice.
FALL_TAU_S: Final = 90.0
VALVE_TAU_S: Final = 15.0
#: The analyser's cell fills with room air once the compressor stops. Common practice.
STOPPED_TAU_S: Final = 60.0
CABINET_TAU_S: Final = 900.0
#: Capacity lost per run hour when the feed air is dry and clean: 1 % in 1000 h. Common practice.
AGEING_PER_H: Final = 1e-5
#: An induction compressor keeps its speed down to about 90 % of nominal voltage and stalls at about 80 %; it starts
#: again from about 85 %. Common practice.
SLOWS_BELOW: Final = 0.90
STALLS_BELOW: Final = 0.80
STARTS_FROM: Final = 0.85
_SPEED_AT_STALL: Final = 0.70
#: A unit switches itself off after so long under its switch-off limit. Common practice.
SHUTDOWN_DELAY_S: Final = 60.0
#: What the controls and lamps of a unit that stands idle draw. Common practice.
IDLE_W: Final = 4.0
#: A clogged intake warms the cabinet by 5 to 15 K over hours to days. Common practice.
_INTAKE_HEAT_K: Final = 30.0
_RUNNING_HEAT_K: Final = 9.0
_OUTLET_KPA: Final = 72.0
_OUTLET_DROP_KPA: Final = 14.0


def air_pressure_kpa(altitude_m: float) -> float:
    """Standard pressure at a geometric height in m, in kPa (ISO 2533 / ICAO standard atmosphere, up to 11 km)."""
    geopotential_m = 6_356_766.0 * altitude_m / (6_356_766.0 + altitude_m)
    return float(101.325 * (1.0 - 0.0065 * geopotential_m / 288.15) ** 5.255876)


def inlet_density_share(pressure_kpa: Quantity, temp_c: Quantity) -> Quantity:
    """Inlet air's density as a share of that at 101.325 kPa and 15 degC: capacity goes with the mass taken in."""
    return pressure_kpa / 101.325 * 288.0 / (273.0 + temp_c)


def speed_share(volts_share: Quantity) -> Array:
    """Compressor speed as a share of nominal, by voltage over nominal: flat to 90 %, falling below, none under 80 %."""
    slope = (1.0 - _SPEED_AT_STALL) / (SLOWS_BELOW - STALLS_BELOW)
    falling = np.clip(1.0 - slope * (SLOWS_BELOW - np.asarray(volts_share)), 0.0, 1.0)
    return np.where(np.asarray(volts_share) < STALLS_BELOW, 0.0, falling)


def aged_share(run_h: Quantity) -> Quantity:
    """Capacity left after so many run hours in dry, clean air, as a share of what it was."""
    return np.maximum(1.0 - AGEING_PER_H * run_h, 0.05)


def purity_pct(
    flow_lpm: Quantity, capacity_lpm: Quantity, ceiling_pct: Quantity = ARGON_CEILING_PCT, knee: Quantity = np.inf
) -> Array:
    """Steady purity in % at a product flow, for a capacity in L/min.

    A mass balance: up to capacity the ceiling, above it the surplus is room air. `knee` rounds the corner, since
    designs differ: share = (1 + x^knee)^(-1/knee) with x = flow / capacity; infinite is the sharp corner.
    """
    x = np.clip(flow_lpm / np.maximum(capacity_lpm, 1e-3), 1e-6, 1e6)
    share = np.minimum(1.0, 1.0 / x) if np.all(np.isinf(knee)) else (1.0 + x**knee) ** (-1.0 / knee)
    return np.asarray(AIR_PCT + (ceiling_pct - AIR_PCT) * share)


def approach_share(step_s: float, tau_s: Quantity) -> Array:
    """How much of the way to its goal a first-order lag goes in one step; exact for any step."""
    return np.asarray(-np.expm1(-step_s / np.asarray(tau_s)))


def warming_pct(run_s: Quantity, goal_pct: Quantity, tau_s: Quantity = WARM_UP_TAU_S) -> Array:
    """Purity so many seconds after a start from room air: y_inf - (y_inf - 20.9) exp(-t / tau)."""
    return np.asarray(AIR_PCT + (goal_pct - AIR_PCT) * approach_share(1.0, tau_s / np.maximum(run_s, 1e-9)))


def power_w(rated_w: Quantity, load: Quantity, intake_blocked: Quantity) -> Quantity:
    """Power in W of a running unit; `load` is flow over rated flow.

    Up to 10 % more under load; a clogged intake moves less air, so power falls a little. Common practice.
    """
    return rated_w * (0.87 + 0.08 * np.clip(load, 0.0, 1.3)) * (1.0 - 0.25 * intake_blocked)


def cabinet_heat_k(load: Quantity, intake_blocked: Quantity) -> Quantity:
    """How far above room temperature the cabinet of a running unit settles, in K."""
    return _RUNNING_HEAT_K + 3.0 * np.clip(load, 0.0, 1.3) + _INTAKE_HEAT_K * intake_blocked


def outlet_kpa(load: Quantity, speed: Quantity, strength: Quantity) -> Quantity:
    """Outlet pressure in kPa gauge at a load; real units lie between 30 and 135 kPa.

    `strength` is the share that valves, compressor cups, intake and leaks leave of it.
    """
    return np.maximum((_OUTLET_KPA - _OUTLET_DROP_KPA * load) * speed * strength, 0.0)
