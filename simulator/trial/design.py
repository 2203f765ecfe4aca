"""What one unit and its instruments are like: drawn by chance, the same for a whole story.

Ranges are common practice with no source to cite, unless a comment names one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from collector.site import Model
from simulator.physics import AIR_PCT, Array, Quantity
from simulator.trial.laws import Chance, Curve, ceiling_pct, purity_pct

_RATED_LPM: Final = (5.0, 5.0, 8.0, 10.0)
#: A galvanic cell follows oxygen's partial pressure (analyser handbooks), so the weather shows in it.
_WEATHER_PCT: Final = (0.1, 0.35)


class Design(NamedTuple):
    """A unit as it was built and set up: capacity in L/min, its curve, its lags, and what it draws.

    `fall_tau_s` and `warm_tau_s` are first-order lags.
    """

    model: Model
    capacity_lpm: float
    curve: Curve
    plateau_pct: float
    fall_pct_per_lpm: float
    dip_pct: float
    fall_tau_s: float
    warm_tau_s: float
    slows_below: float
    voltage_bend: float
    density_gain: float
    draw_w: float
    load_gain: float
    idle_w: float
    heat_k: float
    outlet_kpa: float

    def ceiling(self, flow_lpm: Quantity) -> Array:
        """Purity in % with capacity to spare."""
        return ceiling_pct(flow_lpm, self.plateau_pct, self.fall_pct_per_lpm, self.dip_pct)

    def purity(self, flow_lpm: Quantity, capacity_lpm: Quantity) -> Array:
        """Steady purity in % at a flow through the sieve, for a capacity, both in L/min."""
        load = flow_lpm / np.maximum(capacity_lpm, 1e-3)
        return purity_pct(self.ceiling(flow_lpm), self.curve.share(load))

    def load_for(self, purity: float, flow_lpm: float) -> float:
        """The load (flow over capacity) at which purity comes down to a value in %, with the ceiling of that flow."""
        share = (purity - AIR_PCT) / (float(self.ceiling(flow_lpm)) - AIR_PCT)
        return self.curve.load_at(min(max(share, 0.05), 0.99))


class Instruments(NamedTuple):
    """How good a story's instruments are: standard deviations in their unit or as a share, resolution, what is lost.

    `pressure` says whether there is a pressure sensor at all.
    """

    purity_sd_pct: float
    purity_memory_s: float
    white_sd_pct: float
    analyser_tau_s: float
    bias_pct: float
    drift_pct_per_month: float
    weather_sd_pct: float
    resolution_pct: float
    flow_sd_share: float
    flow_resolution_lpm: float
    power_sd_share: float
    missing_share: float
    blank_share: float
    spikes_per_day: float
    jitter_share: float
    pressure: bool


def draw_design(rng: Chance, capacity_ratio: tuple[float, float] = (1.05, 1.35)) -> Design:
    """Draw a unit; `capacity_ratio` is the range of capacity over rated flow."""
    rated = _pick(rng, _RATED_LPM)
    plateau = rng.uniform(93.0, 95.6)
    model = Model(
        id="trial", rated_flow_lpm=rated, shutdown_pct=_pick(rng, (70.0, 70.0, 70.0, 73.0)),
        rated_power_w=70.0 * rated if rng.random() < 0.5 else None, nominal_volts=_pick(rng, (230.0, 230.0, 120.0)),
    )  # fmt: skip
    return Design(
        model=model,
        capacity_lpm=rated * rng.uniform(*capacity_ratio),
        curve=_curve(rng),
        plateau_pct=plateau,
        fall_pct_per_lpm=rng.uniform(0.0, 1.2) / rated,
        dip_pct=rng.uniform(0.3, 1.5) if rng.random() < 0.4 else 0.0,
        fall_tau_s=rng.uniform(45.0, 140.0),
        # 90 % of the rise within 10.5 min at 2 L/min (Johns et al., Thorax 1985;40:806): 273 s at most
        warm_tau_s=rng.uniform(100.0, 270.0),
        slows_below=rng.uniform(0.88, 0.92),
        voltage_bend=rng.uniform(0.8, 1.5),
        # 1 is inlet density alone, 288 / (273 + t) (ISO 2533's reference state); weak designs lose more in the heat
        density_gain=rng.uniform(1.0, 2.0),
        draw_w=rated * rng.uniform(54.0, 70.0),
        load_gain=rng.uniform(0.0, 0.1),
        idle_w=rng.uniform(2.0, 8.0),
        heat_k=rng.uniform(7.0, 13.0),
        outlet_kpa=rng.uniform(45.0, 95.0),
    )


def _curve(rng: Chance) -> Curve:
    return Curve(
        spread=rng.uniform(0.02, 0.15),
        imbalance=rng.uniform(0.05, 0.2) if rng.random() < 0.6 else 0.0,
        steepness=rng.uniform(0.85, 1.25) if rng.random() < 0.7 else 1.0,
    )


def draw_instruments(rng: Chance, plateau_pct: float) -> Instruments:
    """Draw instruments; those of good plants: bias within 1 point, but nothing that shows more than argon allows."""
    galvanic = rng.random() < 0.4
    total_sd = rng.uniform(0.15, 0.5)
    white = rng.uniform(0.2, 0.8)
    return Instruments(
        purity_sd_pct=total_sd * float(np.sqrt(1.0 - white)),
        purity_memory_s=float(np.exp(rng.uniform(np.log(20.0), np.log(400.0)))),
        white_sd_pct=total_sd * float(np.sqrt(white)),
        analyser_tau_s=rng.uniform(5.0, 20.0),
        bias_pct=min(rng.uniform(-1.0, 1.0), 95.9 - plateau_pct),
        drift_pct_per_month=rng.uniform(0.1, 1.0) * (-1.0 if galvanic or rng.random() < 0.5 else 1.0),
        weather_sd_pct=rng.uniform(*_WEATHER_PCT) if galvanic else 0.0,
        resolution_pct=0.5 if rng.random() < 0.12 else 0.1,
        flow_sd_share=rng.uniform(0.01, 0.02),
        flow_resolution_lpm=_pick(rng, (0.1, 0.01)),
        power_sd_share=rng.uniform(0.01, 0.02),
        missing_share=rng.uniform(0.01, 0.05),
        blank_share=rng.uniform(0.0, 0.004),
        spikes_per_day=rng.uniform(0.0, 2.0),
        jitter_share=_pick(rng, (0.0, 0.0, 0.08)),
        pressure=rng.random() < 0.5,
    )


def _pick(rng: Chance, values: Sequence[float]) -> float:
    return values[int(rng.integers(len(values)))]
