"""The fault stories: each kind's law, what else it moves, and how the flow goes meanwhile.

A fault is sized so that at the flow in use the unit comes to its switch-off about `fault_h` after the onset, and goes
on beyond. Laws and their lengths are common practice: sieve weeks to months, wet sieve hours to days, intake days to
weeks, compressor weeks, leak hours to days, valve minutes or a few cycles.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from simulator.physics import Array
from simulator.trial.design import draw_design, draw_instruments
from simulator.trial.draft import Draft
from simulator.trial.laws import STALLS_BELOW, Chance, dust_loads, grown, log_uniform, stretches
from simulator.trial.wards import everyday, switch_off

#: How the flow goes: steady; in steps; low until a patient change turns it up and finds the worn unit.
_PATTERNS: Final = ("steady", "steps", "low-first", "steady")
#: The plan goes on so far beyond the fault's time: what would have come at another flow is known, too.
_BEYOND: Final = {"steady": 1.6, "steps": 1.8, "low-first": 1.8}
_DAY_H: Final = 24.0
#: A baseline can be learned within so long; quick faults need the shorter one.
_QUICK_UP_TO_H: Final = 15.0


def draft_fault(rng: Chance, kind: str, variant: int) -> Draft:
    """Draft a fault story; variants of a kind go through its shapes and its patterns of flow in turn."""
    return _KINDS[kind](rng, variant)


def _plan(rng: Chance, variant: int, fault_h: float, tail_h: float = 0.0) -> Draft:
    """A healthy stretch, then a fault that would take `fault_h`; the flow's pattern by the variant."""
    pattern = _PATTERNS[variant % 4]
    design = draw_design(rng)
    quick = fault_h <= _QUICK_UP_TO_H
    healthy_h = rng.uniform(12.0, 20.0) if quick else rng.uniform(5.0, 10.0) * _DAY_H
    flow = min(design.model.rated_flow_lpm * rng.uniform(0.4, 1.0), 0.95 * design.capacity_lpm)
    kit = draw_instruments(rng, design.plateau_pct)
    draft = Draft(rng, design, kit, healthy_h + _BEYOND[pattern] * fault_h + tail_h, round(flow, 1))
    draft.onset_h = healthy_h
    if pattern == "steps":
        _steps(draft, fault_h)
    elif pattern == "low-first":
        _low_first(draft, fault_h, tail_h)
    everyday(draft, draft.hours if fault_h > 1.0 else 0.9 * healthy_h)
    return draft


def _steps(draft: Draft, fault_h: float) -> None:
    top = draft.top_lpm
    hours = stretches(draft.rng, draft.hours, float(np.clip(fault_h / 5, 2.0, 24.0)))
    flows = top * np.where(draft.rng.random(len(hours)) < 0.3, 1.0, draft.rng.uniform(0.5, 1.0, len(hours)))
    draft.set_flows(hours, np.maximum(np.round(flows, 1), 0.5))


def _low_first(draft: Draft, fault_h: float, tail_h: float) -> None:
    """Turned up somewhere between half of the fault's time and well after the unit could not stand it any more."""
    up_h = draft.onset + fault_h * draft.rng.uniform(0.5, 1.3) + tail_h * draft.rng.uniform(0.1, 0.6)
    draft.set_lpm[: draft.row(up_h)] = max(round(draft.top_lpm * draft.rng.uniform(0.2, 0.5), 1), 0.5)


def _loss_at_end(draft: Draft, flow_lpm: float) -> float:
    """The share of capacity that must be gone for the unit to come to its switch-off at a flow."""
    load = draft.design.load_for(draft.design.model.shutdown_pct, flow_lpm)
    return 1.0 - flow_lpm / (draft.design.capacity_lpm * load)


def _lose(draft: Draft, lost: Array) -> None:
    draft.capacity_share *= np.maximum(1.0 - lost, 0.03)


def _progress(draft: Draft, fault_h: float) -> Array:
    return draft.since(draft.onset) / fault_h


def _sieve_worn(rng: Chance, variant: int) -> Draft:
    fault_h = rng.uniform(10.0, 42.0) * _DAY_H
    draft = _plan(rng, variant, fault_h)
    bend = 1.0 if variant % 2 else rng.uniform(1.4, 3.0)
    _lose(draft, _loss_at_end(draft, draft.top_lpm) * grown(_progress(draft, fault_h), bend))
    return draft


def _sieve_wet(rng: Chance, variant: int) -> Draft:
    """Water holds the bed up while it is purged: a little more work, and a slower warm-up."""
    fault_h = log_uniform(rng, 3.0, 96.0)
    draft = _plan(rng, variant, fault_h)
    bend = -rng.uniform(0.7, 2.5) if variant % 3 == 0 else rng.uniform(1.0, 2.5)
    lost = _loss_at_end(draft, draft.top_lpm) * grown(_progress(draft, fault_h), bend)
    _lose(draft, lost)
    draft.slowness += np.minimum(lost, 1.0)
    draft.power_share *= 1.0 + rng.uniform(0.0, 0.05) * np.minimum(lost, 1.0)
    if variant % 4 == 3:
        for share in rng.uniform(0.1, 0.9, 3).tolist():
            off_h = draft.onset + share * fault_h
            switch_off(draft, off_h, off_h + rng.uniform(0.02, 0.08) * fault_h)
    return draft


def _intake_blocked(rng: Chance, variant: int) -> Draft:
    fault_h = log_uniform(rng, 6.0, 14 * _DAY_H)
    draft = _plan(rng, variant, fault_h)
    clogged = dust_loads(rng, _progress(draft, fault_h), int(rng.integers(5, 30)))
    _lose(draft, _loss_at_end(draft, draft.top_lpm) * clogged)
    draft.heat_k += rng.uniform(5.0, 15.0) * np.minimum(clogged, 1.3)
    draft.power_share *= 1.0 - rng.uniform(0.03, 0.10) * np.minimum(clogged, 1.3)
    draft.pressure_share *= 1.0 - rng.uniform(0.1, 0.3) * np.minimum(clogged, 1.3)
    return draft


def _valve_fault(rng: Chance, variant: int) -> Draft:
    """Purity goes to 21 to 60 %; power drops or rises at once, and the pressure's swing is lost."""
    rise_s = rng.uniform(5.0, 50.0) if variant % 3 == 0 else log_uniform(rng, 60.0, 1800.0)
    low_first = _PATTERNS[variant % 4] == "low-first"
    draft = _plan(rng, variant, rise_s / 3600, tail_h=rng.uniform(3.0, 8.0) if low_first else 1.5)
    load = max(rng.uniform(1.9, 8.0), 1.15 * draft.design.load_for(draft.design.model.shutdown_pct, draft.top_lpm))
    lost = 1.0 - draft.top_lpm / (draft.design.capacity_lpm * load)
    _lose(draft, lost * np.minimum(_progress(draft, rise_s / 3600), 1.0))
    after = draft.hour >= draft.onset
    draft.power_share[after] *= 1.0 + rng.choice([-1.0, 1.0]) * rng.uniform(0.08, 0.25)
    draft.swing[after] = 0.1
    draft.pressure_share[after] *= rng.uniform(0.5, 1.2)
    draft.tau_s[after] = rng.uniform(8.0, 20.0)
    return draft


def _compressor_weak(rng: Chance, variant: int) -> Draft:
    fault_h = log_uniform(rng, 2.0, 30.0) * _DAY_H
    draft = _plan(rng, variant, fault_h)
    weaker = grown(_progress(draft, fault_h), 1.0 if variant % 2 else rng.uniform(1.3, 2.5))
    _lose(draft, _loss_at_end(draft, draft.top_lpm) * weaker)
    draft.power_share *= 1.0 - rng.uniform(0.10, 0.35) * np.minimum(weaker, 1.4)
    draft.pressure_share *= 1.0 - rng.uniform(0.3, 0.6) * np.minimum(weaker, 1.4)
    return draft


def _supply_voltage_low(rng: Chance, variant: int) -> Draft:
    """The supply sinks in steps, each deeper than the last, some with a recovery between."""
    fault_h = log_uniform(rng, 0.3, 6.0)
    draft = _plan(rng, variant, fault_h, tail_h=2.0)
    bottom = _bottom_share(draft)
    levels = np.linspace(0.93, bottom, int(rng.integers(3, 8)))
    moments = draft.onset + fault_h * np.sort(rng.uniform(0.0, 1.0, len(levels)))
    moments[0] = draft.onset
    for hour, level in zip(moments.tolist(), levels.tolist(), strict=True):
        draft.volts_share[draft.row(hour) :] = level
        if rng.random() < 0.3 and level > bottom + 1e-6:
            draft.volts_share[draft.row(hour + rng.uniform(0.02, 0.2) * fault_h) :] = 0.99
    return draft


def _bottom_share(draft: Draft) -> float:
    """How low the voltage comes, of nominal, and how far the compressor slows: so that the unit comes to its end."""
    design = draft.design
    lost = min(draft.rng.uniform(1.02, 1.12) * _loss_at_end(draft, draft.top_lpm), 0.85)
    least = min((lost / 0.85) ** (1.0 / design.voltage_bend), 1.0)
    missing = draft.rng.uniform(least, 1.0)
    draft.share_at_stall = 1.0 - lost / missing**design.voltage_bend
    return float(design.slows_below - missing * (design.slows_below - STALLS_BELOW))


def _leak(rng: Chance, variant: int) -> Draft:
    """A leak behind the sieve takes flow from it; one in the beds takes capacity; in both less comes out."""
    fault_h = log_uniform(rng, 2.0, 96.0)
    draft = _plan(rng, variant, fault_h)
    grows = grown(_progress(draft, fault_h), rng.uniform(0.8, 2.0))
    held_back = rng.uniform(0.15, 0.45)
    draft.outlet_share *= 1.0 - held_back * np.minimum(grows, 1.8)
    out_lpm = draft.top_lpm * (1.0 - held_back)
    load = draft.design.load_for(draft.design.model.shutdown_pct, draft.top_lpm)
    if variant % 2:
        draft.leak_lpm += max(draft.design.capacity_lpm * load - out_lpm, 0.5) * grows
    else:
        _lose(draft, (1.0 - out_lpm / (draft.design.capacity_lpm * load)) * grows)
    draft.power_share *= 1.0 + rng.uniform(-0.03, 0.02) * np.minimum(grows, 1.3)
    draft.pressure_share *= 1.0 - rng.uniform(0.3, 0.6) * np.minimum(grows, 1.4)
    return draft


def _flow_above_rated(rng: Chance, variant: int) -> Draft:
    """Somebody turns the flow up, at once or in steps, far over what the unit is made for."""
    design = draw_design(rng, (1.05, 1.2))
    rated = design.model.rated_flow_lpm
    healthy_h, over_h = rng.uniform(12.0, 24.0), (0.0, 0.2, 1.0, 3.0)[variant % 4] * rng.uniform(0.5, 1.5)
    draft = Draft(
        rng, design, draw_instruments(rng, design.plateau_pct), healthy_h + over_h + 1.5,
        round(rated * rng.uniform(0.4, 0.95), 1),
    )  # fmt: skip
    if variant % 2:
        _steps(draft, 20.0)
    draft.onset_h = healthy_h
    end_lpm = design.capacity_lpm * design.load_for(design.model.shutdown_pct, rated) * rng.uniform(1.06, 1.35)
    steps = int(rng.integers(2, 5)) if over_h else 1
    flows = np.linspace(1.03 * rated, end_lpm, steps + 1)[1:]
    draft.set_lpm[draft.row(healthy_h) :] = flows[0]
    draft.set_flows(healthy_h + over_h * np.arange(steps) / max(steps - 1, 1), np.round(flows, 1))
    everyday(draft, 0.9 * healthy_h)
    return draft


def _sensor_fault(rng: Chance, variant: int) -> Draft:
    """The analyser fails and the unit does not: steps down, a galvanic cell's decay, a stuck value, above argon."""
    shape = ("step", "decay", "stuck", "high", "steps")[variant % 5]
    fault_h = rng.uniform(2.0, 12.0) * _DAY_H if shape == "decay" else rng.uniform(8.0, 15.0)
    draft = _plan(rng, variant, fault_h)
    draft.must_run_on = True
    after = draft.hour >= draft.onset
    if shape == "step":
        draft.offset_pct[after] = -rng.uniform(3.0, 20.0)
    elif shape == "decay":
        progress = np.minimum(_progress(draft, fault_h), 1.2)
        draft.gain *= 1.0 - rng.uniform(0.08, 0.25) * grown(progress, rng.uniform(1.0, 2.5))
    elif shape == "stuck":
        draft.stuck = (draft.row(draft.onset), draft.rows)
    elif shape == "high":
        draft.offset_pct[after] = 97.2 - draft.design.plateau_pct + rng.uniform(0.5, 5.0)
    else:
        hours = draft.onset + np.sort(rng.uniform(0.0, fault_h, 5))
        for hour in (draft.onset, *hours.tolist()):
            draft.offset_pct[draft.row(hour) :] = rng.choice([0.0, 1.0]) * -rng.uniform(3.0, 20.0)
        draft.offset_pct[draft.span(draft.onset, draft.onset + 0.5)] = -rng.uniform(3.0, 20.0)
    return draft


_KINDS: Final[dict[str, Callable[[Chance, int], Draft]]] = {
    "sieve-worn": _sieve_worn, "sieve-wet": _sieve_wet, "intake-blocked": _intake_blocked,
    "valve-fault": _valve_fault, "compressor-weak": _compressor_weak, "supply-voltage-low": _supply_voltage_low,
    "leak": _leak, "flow-above-rated": _flow_above_rated, "sensor-fault": _sensor_fault,
}  # fmt: skip
