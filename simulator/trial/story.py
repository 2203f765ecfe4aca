"""A story: one invented unit over a span, what its instruments measured, and the truth that only the trial knows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from collector.reading import Reading
from collector.site import Facility, Model, Site, Unit, Ward
from simulator.physics import Array

UNIT: Final = "u1"
WARD: Final = "ward-1"
#: What a story's instruments can measure; a story may lack any of them.
MEASURED: Final = ("purity_pct", "flow_lpm", "power_w", "temp_c", "volts", "pressure_kpa")
FAULT_KINDS: Final = (
    "sieve-worn", "sieve-wet", "intake-blocked", "valve-fault", "compressor-weak", "supply-voltage-low", "leak",
    "flow-above-rated", "sensor-fault",
)  # fmt: skip
BENIGN_KINDS: Final = (
    "overdraw", "sag", "spikes", "gaps", "restarts", "patient-changes", "calm", "worn-but-stable", "coarse", "drift",
)  # fmt: skip

#: Stories of a trial, with a fault and without.
FAULTS: Final = 225
BENIGN: Final = 200

Times = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Steady(Protocol):
    """What the unit's health would give at another flow."""

    def __call__(self, flow_lpm: float, rows: Times | None = None) -> Array:
        """Purity in % at a steady flow in L/min, at those rows (None: all), without any lag.

        As if the unit ran on: after it has shut itself off its fault goes on. A leak's loss is added to the flow.
        Rows may go past the recording, up to Story.rows_known: row r is r steps of Story.step_ms after its first. There
        lies the truth of a forecast whose flow was not the one that was used later.
        """


class Story(NamedTuple):
    """One story; arrays have one entry a row, rows are 10 s or 60 s apart.

    `kind` is one of FAULT_KINDS or BENIGN_KINDS; a fault's kind is its true cause. `measured` holds NaN where nothing
    was measured; a row of nothing but NaN is no reading. `true_purity_pct` is what leaves the unit (20.9 when off);
    `true_flow_lpm` is what goes through the sieve (a leak inside the unit included), 0 when it is off.
    `onset_ms` is when the fault began, `shutdown_ms` when the unit first switched itself off; None: never.
    """

    name: str
    kind: str
    benign: bool
    seed: int
    model: Model
    changeover_min: float
    time_ms: Times
    measured: dict[str, Array]
    true_purity_pct: Array
    true_flow_lpm: Array
    running: Flags
    onset_ms: int | None
    shutdown_ms: int | None
    steady: Steady

    @property
    def step_ms(self) -> int:
        """Time from one row to the next, in ms."""
        return round(float(self.time_ms[-1] - self.time_ms[0]) / (len(self.time_ms) - 1) / 1000) * 1000

    @property
    def rows_known(self) -> int:
        """How many rows steady() knows, those of the recording and those after it."""
        return int(getattr(self.steady, "rows_known", len(self.time_ms)))

    def readings(self) -> Iterator[Reading]:
        """The recording, as readings of unit UNIT in the order of time."""
        names = [name for name in MEASURED if name in self.measured]
        present = ~np.all([np.isnan(self.measured[name]) for name in names], axis=0)
        columns = [_values(self.measured[name][present]) for name in names]
        for time_ms, *values in zip(self.time_ms[present].tolist(), *columns, strict=True):
            yield Reading(UNIT, time_ms, **dict(zip(names, values, strict=True)))

    def site(self) -> Site:
        """A site of one ward and this one unit."""
        return Site(
            facility=Facility(id="sim-trial", name="Trial (simulated)"),
            ward=(Ward(id=WARD, changeover_min=self.changeover_min),),
            model=(self.model,),
            unit=(Unit(id=UNIT, model=self.model.id, ward=WARD),),
        )


def _values(column: Array) -> list[float | None]:
    return [None if value != value else value for value in column.tolist()]
