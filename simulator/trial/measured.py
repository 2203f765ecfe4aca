"""From what is true to what a story's instruments show: lag, bias, drift, correlated noise, spikes, and what is lost.

Noise and loss are common practice: purity sd 0.15 to 0.5 %, flow and power 1 to 2 %, 1 to 5 % of packets missing,
drift 0.1 to 1 % a month.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from simulator.physics import STOPPED_TAU_S, Array
from simulator.trial.draft import Draft
from simulator.trial.laws import lagged, wander
from simulator.trial.outcome import Truth

_MONTH_H: Final = 720.0
_CABINET_TAU_S: Final = 1500.0
_SLOW_S: Final = 7200.0
_WEATHER_S: Final = 36 * 3600.0


def measure(draft: Draft, truth: Truth) -> dict[str, Array]:
    """What was measured, by quantity; NaN where nothing was."""
    measured = {
        "purity_pct": _purity_pct(draft, truth),
        "flow_lpm": _flow_lpm(draft, truth),
        "power_w": _power_w(draft, truth),
        "temp_c": _temp_c(draft, truth),
        "volts": _volts(draft, truth),
    }
    pressure = _pressure_kpa(draft, truth)
    if draft.instruments.pressure:
        measured["pressure_kpa"] = pressure
    lost = draft.silent | (draft.rng.random(draft.rows) < draft.instruments.missing_share)
    for values in measured.values():
        values[lost | (draft.rng.random(draft.rows) < draft.instruments.blank_share)] = np.nan
    return measured


def _purity_pct(draft: Draft, truth: Truth) -> Array:
    rng, kit, rows, step_s = draft.rng, draft.instruments, draft.rows, draft.step_s
    tau = np.where(truth.running, kit.analyser_tau_s, STOPPED_TAU_S)
    seen = lagged(truth.purity_pct, tau, step_s, float(truth.purity_pct[0]))
    # bias, drift and weather are errors of slope: they do not show in room air
    error = kit.bias_pct + kit.drift_pct_per_month * draft.hour / _MONTH_H
    error = error + wander(rng, rows, step_s, kit.weather_sd_pct, _WEATHER_S)
    seen = seen * draft.gain + error * seen / 93.0 + draft.offset_pct
    seen = seen + wander(rng, rows, step_s, kit.purity_sd_pct, kit.purity_memory_s)
    seen = seen + rng.normal(0.0, kit.white_sd_pct, rows)
    spiked = rng.random(rows) < kit.spikes_per_day * step_s / 86_400
    spikes = rng.choice([-1.0, 1.0], rows) * rng.uniform(3.0, 40.0, rows)
    seen = np.clip(np.where(spiked, seen + spikes, seen), 0.0, 104.0)
    seen = _rounded(seen, kit.resolution_pct)
    first, end = draft.stuck
    seen[first:end] = seen[first] if end > first else 0.0
    return seen


def _flow_lpm(draft: Draft, truth: Truth) -> Array:
    noisy = truth.outlet_lpm * (1.0 + draft.rng.normal(0.0, draft.instruments.flow_sd_share, draft.rows))
    return _rounded(noisy, draft.instruments.flow_resolution_lpm)


def _power_w(draft: Draft, truth: Truth) -> Array:
    """Power in W: a little more under load; with a weak supply the compressor slows and draws less."""
    design, rng = draft.design, draft.rng
    load = truth.sieve_lpm / draft.rated_lpm
    slowed = np.clip((design.slows_below - truth.volts_share) / design.slows_below, 0.0, 0.3)
    running = design.draw_w * (1.0 + design.load_gain * (load - 0.7)) * draft.power_share * (1.0 - 1.2 * slowed)
    running = running * (1.0 + wander(rng, draft.rows, draft.step_s, 0.006, _SLOW_S))
    idle = np.where(draft.mains, design.idle_w, 0.0)
    shown = np.where(truth.running, running, idle) * (
        1.0 + rng.normal(0.0, draft.instruments.power_sd_share, draft.rows)
    )
    return _rounded(shown, 1.0)


def _temp_c(draft: Draft, truth: Truth) -> Array:
    """Cabinet temperature in degC: it follows the room's and the motor's heat within half an hour or so."""
    load = truth.sieve_lpm / draft.rated_lpm
    heat = np.where(truth.running, draft.design.heat_k + 3.0 * load + draft.heat_k, 0.0)
    goal = truth.room_c + heat
    first = float(truth.room_c[0]) if draft.cold_start else float(goal[0])
    cabinet = lagged(goal, np.full(draft.rows, _CABINET_TAU_S), draft.step_s, first)
    return _rounded(cabinet + draft.rng.normal(0.0, 0.15, draft.rows), 0.1)


def _volts(draft: Draft, truth: Truth) -> Array:
    shown = truth.volts_share * (1.0 + draft.rng.normal(0.0, 0.003, draft.rows)) * draft.design.model.nominal_volts
    return _rounded(np.where(draft.mains, shown, 0.0), 0.1)


def _pressure_kpa(draft: Draft, truth: Truth) -> Array:
    """Outlet pressure in kPa gauge; each reading meets the cycle's swing at another point of it."""
    load = truth.sieve_lpm / draft.rated_lpm
    level = draft.design.outlet_kpa * np.maximum(1.0 - 0.15 * load, 0.2) * draft.pressure_share
    swing = 0.04 * draft.design.outlet_kpa * draft.swing * np.sin(draft.rng.uniform(0, 2 * np.pi, draft.rows))
    shown = np.where(truth.running, level + swing, 0.0) + draft.rng.normal(0.0, 0.3, draft.rows)
    return _rounded(np.maximum(shown, 0.0), 0.1)


def _rounded(values: Array, step: float) -> Array:
    return np.asarray(np.round(np.round(values / step) * step, 2))
