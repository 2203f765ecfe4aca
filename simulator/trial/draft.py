"""A story in the making: what is set and what goes wrong, row by row, before it is known what comes of it."""

from __future__ import annotations

from typing import Final

import numpy as np

from simulator.physics import Array
from simulator.trial.design import Design, Instruments
from simulator.trial.laws import Chance
from simulator.trial.story import Flags

#: Up to so many hours a story has a row every 10 s, longer ones every 60 s.
FINE_UP_TO_H: Final = 48.0


class Draft:
    """One story's plan; begins as a healthy unit at a steady flow, and is changed by faults.py and benign.py.

    Shares are of what a healthy unit would have; `outlet_share` of the set flow comes out. `leak_lpm` goes through the
    sieve and is lost. `tau_s` is the lag of purity while running warm. `gain` and `offset_pct` are the analyser's;
    over the rows of `stuck` it holds what it showed. `top_lpm` is the flow that a fault is measured by.
    """

    def __init__(self, rng: Chance, design: Design, instruments: Instruments, hours: float, flow_lpm: float) -> None:
        self.rng = rng
        self.design = design
        self.instruments = instruments
        self.hours = hours
        self.step_s = 10.0 if hours <= FINE_UP_TO_H else 60.0
        self.rows = int(hours * 3600 / self.step_s)
        self.hour = np.arange(self.rows) * self.step_s / 3600
        self.top_lpm = flow_lpm
        self.set_lpm = np.full(self.rows, flow_lpm)
        self.capacity_share = np.ones(self.rows)
        self.leak_lpm = np.zeros(self.rows)
        self.outlet_share = np.ones(self.rows)
        self.volts_share = np.ones(self.rows)
        self.share_at_stall = rng.uniform(0.45, 0.75)
        self.power_share = np.ones(self.rows)
        self.heat_k = np.zeros(self.rows)
        self.pressure_share = np.ones(self.rows)
        self.swing = np.ones(self.rows)
        self.on: Flags = np.ones(self.rows, np.bool_)
        self.mains: Flags = np.ones(self.rows, np.bool_)
        self.cold_start = False
        self.tau_s = np.full(self.rows, design.fall_tau_s)
        self.slowness = np.ones(self.rows)
        self.gain = np.ones(self.rows)
        self.offset_pct = np.zeros(self.rows)
        self.stuck = (0, 0)
        self.silent: Flags = np.zeros(self.rows, np.bool_)
        self.onset_h: float | None = None
        self.must_run_on = False

    @property
    def rated_lpm(self) -> float:
        """The unit's rated flow."""
        return self.design.model.rated_flow_lpm

    @property
    def onset(self) -> float:
        """Hours from the start to the fault's onset; the whole story's length when there is none."""
        return self.hours if self.onset_h is None else self.onset_h

    def row(self, hour: float) -> int:
        """The first row at or after so many hours."""
        return min(int(np.ceil(hour * 3600 / self.step_s)), self.rows)

    def span(self, from_h: float, to_h: float) -> slice:
        """The rows from one hour up to another; at least one, if the story goes on so long."""
        first = self.row(from_h)
        return slice(first, max(self.row(to_h), first + 1))

    def since(self, from_h: float) -> Array:
        """Hours since a moment, 0 before it."""
        return np.maximum(self.hour - from_h, 0.0)

    def set_flows(self, hours: Array, flows_lpm: Array) -> None:
        """Set flows from given hours on, each until the next."""
        for hour, flow in zip(hours.tolist(), flows_lpm.tolist(), strict=True):
            self.set_lpm[self.row(hour) :] = flow
