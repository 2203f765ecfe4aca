"""What comes of a draft: capacity, purity with its lag, and when the unit switches itself off."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from simulator.physics import AIR_PCT, SHUTDOWN_DELAY_S, Array
from simulator.trial.design import Design
from simulator.trial.draft import Draft
from simulator.trial.laws import lagged, voltage_share, wander
from simulator.trial.story import Flags, Times

#: A unit's own low-purity switch-off is disarmed for so long after it starts, beyond its warm-up. Common practice.
_ARMED_AFTER_S: Final = 300.0
#: Supply between faults: 230 V plus or minus 10 % (IEC 60038), kept a little inside it.
_ORDINARY_VOLTS: Final = (0.915, 1.09)


class Health:
    """What a unit can do, row by row, whatever flow it is asked for; goes on past the recording for `rows_known` rows.

    `shown_rows` are those of the recording.
    """

    def __init__(self, design: Design, capacity_lpm: Array, leak_lpm: Array) -> None:
        self.design = design
        self.capacity_lpm = capacity_lpm
        self.leak_lpm = leak_lpm
        self.rows_known = self.shown_rows = len(capacity_lpm)

    def __call__(self, flow_lpm: float, rows: Times | None = None) -> Array:
        """Steady purity in % at a flow in L/min, at those rows (None: all of the recording)."""
        at = slice(0, self.shown_rows) if rows is None else rows
        return self.design.purity(flow_lpm + self.leak_lpm[at], self.capacity_lpm[at])


class Truth(NamedTuple):
    """A draft's outcome, of as many rows as it; `shutdown_row` None: it never switched itself off.

    `sieve_lpm` is what goes through the sieve, `outlet_lpm` what the unit's meter sees.
    """

    health: Health
    purity_pct: Array
    sieve_lpm: Array
    outlet_lpm: Array
    running: Flags
    run_s: Array
    room_c: Array
    volts_share: Array
    shutdown_row: int | None


def work_out(draft: Draft) -> Truth:
    """Work out what a draft leads to."""
    design = draft.design
    room_c, volts = _room_c(draft), _volts_share(draft)
    density = ((273.0 + float(room_c.mean())) / (273.0 + room_c)) ** design.density_gain
    by_volts = voltage_share(volts, design.slows_below, draft.share_at_stall, design.voltage_bend)
    capacity = design.capacity_lpm * draft.capacity_share * density * np.where(draft.mains, by_volts, 1.0)
    health = Health(design, capacity, draft.leak_lpm)
    slack = 1.0 + wander(draft.rng, draft.rows, draft.step_s, 0.005, 3600.0)
    outlet = np.where(draft.on, draft.set_lpm * draft.outlet_share * slack, 0.0)
    sieve = np.where(draft.on, outlet + draft.leak_lpm, 0.0)
    run_s = _run_s(draft)
    purity = _purity_pct(draft, design.purity(sieve, capacity), run_s)
    shutdown_row = None if draft.must_run_on else _shutdown_row(draft, purity, run_s)
    running = draft.on.copy()
    if shutdown_row is not None:
        for values, off in ((purity, AIR_PCT), (sieve, 0.0), (outlet, 0.0), (run_s, 0.0)):
            values[shutdown_row:] = off
        running[shutdown_row:] = False
    return Truth(health, purity, sieve, outlet, running, run_s, room_c, volts, shutdown_row)


def _purity_pct(draft: Draft, steady: Array, run_s: Array) -> Array:
    warm_tau = draft.design.warm_tau_s * draft.slowness
    # a start's lag is that at its first row, so that a stretch has one lag
    first = np.maximum.accumulate(np.where(_starts(draft), np.arange(draft.rows), 0))
    tau = np.where(run_s < 4.0 * warm_tau[first], warm_tau[first], draft.tau_s)
    tau = np.where(draft.on, tau, 0.0)
    goal = np.where(draft.on, steady, AIR_PCT)
    return lagged(goal, tau, draft.step_s, AIR_PCT if draft.cold_start else float(goal[0]))


def _starts(draft: Draft) -> Flags:
    return np.asarray(draft.on & ~np.concatenate(([not draft.cold_start], draft.on[:-1])))


def _run_s(draft: Draft) -> Array:
    """Seconds since the start; a unit that runs at the story's start has run for a day."""
    second = np.arange(draft.rows) * draft.step_s
    started = np.maximum.accumulate(np.where(_starts(draft), second, -86_400.0))
    return np.where(draft.on, second - started, 0.0)


def _shutdown_row(draft: Draft, purity: Array, run_s: Array) -> int | None:
    armed = run_s > draft.design.model.warm_up_min * 60 + _ARMED_AFTER_S
    low = draft.on & armed & (purity < draft.design.model.shutdown_pct)
    span = int(np.ceil(SHUTDOWN_DELAY_S / draft.step_s)) + 1
    run = np.convolve(low, np.ones(span, np.int64))[: draft.rows] == span
    return int(run.argmax()) if run.any() else None


def _room_c(draft: Draft) -> Array:
    """Room temperature in degC: warm in the afternoon, with slow wandering."""
    rng = draft.rng
    level, swing, phase = rng.uniform(20.0, 32.0), rng.uniform(1.0, 4.5), rng.uniform(0.0, 24.0)
    daily = swing * np.sin((draft.hour - phase) * 2 * np.pi / 24)
    return np.asarray(level + daily + wander(rng, draft.rows, draft.step_s, 0.8, 8 * 3600.0))


def _volts_share(draft: Draft) -> Array:
    """Voltage as a share of nominal: the draft's sags upon a supply that wanders and is lower in the evening."""
    rng = draft.rng
    level, swing, phase = rng.uniform(0.97, 1.04), rng.uniform(0.0, 0.02), rng.uniform(0.0, 24.0)
    ordinary = level + swing * np.sin((draft.hour - phase) * 2 * np.pi / 24)
    ordinary = ordinary + wander(rng, draft.rows, draft.step_s, rng.uniform(0.004, 0.01), 1200.0)
    ordinary = np.clip(ordinary, *_ORDINARY_VOLTS)
    # a sag says how low the supply comes, whatever it was before
    sagging = draft.volts_share < 1.0
    sagged = draft.volts_share + wander(rng, draft.rows, draft.step_s, 0.004, 120.0)
    return np.where(sagging, np.minimum(ordinary, sagged), ordinary)
