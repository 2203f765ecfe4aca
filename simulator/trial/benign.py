"""The benign stories: what happens on wards every week and is no reason to tell anybody to change over."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from simulator.trial.design import draw_design, draw_instruments
from simulator.trial.draft import Draft
from simulator.trial.laws import Chance, log_uniform, stretches
from simulator.trial.wards import dip, gap, switch_off

_SHORT_H: Final = 48.0
_DAYS: Final = (10.0, 30.0)


def draft_benign(rng: Chance, kind: str, variant: int) -> Draft:
    """Draft a benign story: every second variant is 2 days with a row every 10 s, the others 10 to 30 days."""
    hours = 24.0 * rng.uniform(*_DAYS) if variant % 2 or kind == "drift" else _SHORT_H
    design = draw_design(rng, (0.9, 1.05) if kind == "worn-but-stable" else (1.05, 1.35))
    flow = round(min(design.model.rated_flow_lpm * rng.uniform(0.2, 1.0), 0.95 * design.capacity_lpm), 1)
    draft = Draft(rng, design, draw_instruments(rng, design.plateau_pct), hours, flow)
    draft.must_run_on = True
    draft.share_at_stall = rng.uniform(0.6, 0.85)
    _KINDS[kind](draft)
    return draft


def _overdraw(draft: Draft) -> None:
    """Above rated for 5 to 40 minutes, down to 80 to 90 %, then turned down again."""
    rng, design = draft.rng, draft.design
    for from_h in stretches(rng, draft.hours - 1.0, max(draft.hours / 12, 5.0)).tolist():
        over = design.capacity_lpm * design.load_for(rng.uniform(80.5, 90.0), design.model.rated_flow_lpm)
        draft.set_lpm[draft.span(from_h, from_h + rng.uniform(5.0, 40.0) / 60)] = round(over, 1)


def _sag(draft: Draft) -> None:
    """Dips to 82 to 90 % of nominal for seconds to 20 minutes, on a unit that can stand them."""
    rng, design = draft.rng, draft.design
    if rng.random() < 0.6:  # at low flow a sag does not show in purity
        draft.top_lpm = round(min(draft.rated_lpm, 0.95 * design.capacity_lpm) * rng.uniform(0.8, 1.0), 1)
        draft.set_lpm[:] = draft.top_lpm
    least = draft.top_lpm / (design.capacity_lpm * design.load_for(80.0, draft.top_lpm))
    draft.share_at_stall = max(draft.share_at_stall, least)
    for from_h in stretches(rng, draft.hours - 1.0, max(draft.hours / 30, 1.5)).tolist():
        dip(draft, from_h, log_uniform(rng, 10.0, 1200.0) / 3600, rng.uniform(0.82, 0.90))


def _spikes(draft: Draft) -> None:
    per_day = log_uniform(draft.rng, 20.0, 250.0) * 10.0 / draft.step_s
    draft.instruments = draft.instruments._replace(spikes_per_day=per_day)


def _gaps(draft: Draft) -> None:
    """Silences of minutes to hours; half of the recordings begin late; the flow changes unseen."""
    rng = draft.rng
    if rng.random() < 0.5:
        draft.silent[draft.span(0.0, rng.uniform(0.5, 6.0))] = True
    for from_h in stretches(rng, draft.hours, max(draft.hours / 15, 6.0)).tolist():
        hours = log_uniform(rng, 0.05, 8.0)
        gap(draft, from_h, hours)
        if rng.random() < 0.4:
            draft.set_lpm[draft.row(from_h + hours / 2) :] = _patient_lpm(draft)


def _restarts(draft: Draft) -> None:
    """Switched off at night, moved, unplugged; each start warms up."""
    rng = draft.rng
    draft.cold_start = rng.random() < 0.5
    if rng.random() < 0.5:
        for day in range(int(draft.hours // 24)):
            switch_off(draft, 24.0 * day + rng.uniform(14.0, 15.0), 24.0 * day + rng.uniform(21.0, 23.0))
        return
    for from_h in stretches(rng, draft.hours - 4.0, max(draft.hours / 20, 5.0)).tolist():
        switch_off(draft, from_h, from_h + log_uniform(rng, 0.02, 3.0), cut=rng.random() < 0.5)
        if rng.random() < 0.5:
            draft.set_lpm[draft.row(from_h) :] = _patient_lpm(draft)


def _patient_changes(draft: Draft) -> None:
    hours = stretches(draft.rng, draft.hours, draft.rng.uniform(2.5, 6.0))
    draft.set_flows(hours, np.array([_patient_lpm(draft) for _ in hours]))


def _calm(draft: Draft) -> None:
    """Nothing happens."""


def _coarse(draft: Draft) -> None:
    draft.instruments = draft.instruments._replace(resolution_pct=float(draft.rng.choice([0.5, 1.0])))
    if draft.rng.random() < 0.5:
        _patient_changes(draft)


def _drift(draft: Draft) -> None:
    """An analyser at the upper end of what is usual: 1 % a month, mostly downwards."""
    per_month = draft.rng.uniform(0.9, 1.1) * draft.rng.choice([-1.0, -1.0, 1.0])
    draft.instruments = draft.instruments._replace(drift_pct_per_month=float(per_month))
    if draft.rng.random() < 0.5:
        _patient_changes(draft)


def _patient_lpm(draft: Draft) -> float:
    """A flow for the next patient: half a litre up to the rated flow, or what the unit can give."""
    return float(np.round(draft.rng.uniform(0.5, min(draft.rated_lpm, 0.98 * draft.design.capacity_lpm)), 1))


_KINDS: Final[dict[str, Callable[[Draft], None]]] = {
    "overdraw": _overdraw, "sag": _sag, "spikes": _spikes, "gaps": _gaps, "restarts": _restarts,
    "patient-changes": _patient_changes, "calm": _calm, "worn-but-stable": _patient_changes, "coarse": _coarse,
    "drift": _drift,
}  # fmt: skip
