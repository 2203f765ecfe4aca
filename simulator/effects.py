"""What faults, voltage and room air do to the units over a block of moments: one column a unit, one row a moment."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from simulator.faults import Fault
from simulator.noise import Times
from simulator.physics import FALL_TAU_S, VALVE_TAU_S, Array

Columns = NDArray[np.int64]
Flags = NDArray[np.bool_]
#: How long before a unit is switched off on purpose its flow is turned off: the usual end of a therapy.
FLOW_OFF_FIRST_MS: Final = 20_000


class Effects:
    """What works on each unit at each moment of a block; begins as "nothing at all" and is changed by apply()."""

    def __init__(self, at_ms: Times, on: Flags, flow_lpm: Array, volts_share: Array, rated_lpm: Array) -> None:
        shape = at_ms.shape
        self.at_ms = at_ms  # from the story's start
        self.on = np.broadcast_to(on, shape).copy()
        self.flow_lpm = flow_lpm
        self.volts_share = volts_share
        self.rated_lpm = rated_lpm
        self.capacity = np.ones(shape)
        self.intake = np.zeros(shape)
        self.strength = np.ones(shape)  # of the outlet pressure
        self.power = np.ones(shape)
        self.leak_lpm = np.zeros(shape)
        self.fall_tau_s = np.full(shape, FALL_TAU_S)
        self.slowness = np.ones(shape)  # of warming up
        self.closed = np.zeros(shape, np.bool_)  # the flow turned off by hand
        self.blocked = np.zeros(shape, np.bool_)
        self.silent = np.zeros(shape, np.bool_)

    @property
    def drawn_lpm(self) -> Array:
        """What would flow if the unit ran."""
        return np.where(self.closed | self.blocked, 0.0, self.flow_lpm)

    def apply(self, fault: Fault, columns: Columns) -> None:
        """Let one fault work on its units."""
        work = _WORK.get(fault.kind)
        if work is not None:
            work(self, fault, columns)


def _sieve_worn(e: Effects, fault: Fault, at: Columns) -> None:
    e.capacity[:, at] *= 1.0 - fault.size * fault.grown(e.at_ms[:, at])


def _sieve_wet(e: Effects, fault: Fault, at: Columns) -> None:
    """Water takes the sieve's place, and holds the bed up while it is purged: more work, slower to warm up."""
    lost = fault.size * fault.grown(e.at_ms[:, at])
    e.capacity[:, at] *= 1.0 - lost
    e.slowness[:, at] *= 1.0 + lost
    e.power[:, at] *= 1.0 + 0.05 * lost


def _intake_blocked(e: Effects, fault: Fault, at: Columns) -> None:
    closed = fault.size * fault.grown(e.at_ms[:, at])
    e.capacity[:, at] *= 1.0 - closed
    e.intake[:, at] = np.maximum(e.intake[:, at], closed)
    e.strength[:, at] *= 1.0 - 0.6 * closed


def _valve_fault(e: Effects, fault: Fault, at: Columns) -> None:
    lost = fault.size * fault.grown(e.at_ms[:, at])
    e.capacity[:, at] *= 1.0 - lost
    e.strength[:, at] *= 1.0 - 0.5 * lost
    e.power[:, at] *= 1.0 - 0.15 * lost
    e.fall_tau_s[:, at] = np.where(lost > 0, VALVE_TAU_S, e.fall_tau_s[:, at])


def _compressor_weak(e: Effects, fault: Fault, at: Columns) -> None:
    lost = fault.size * fault.grown(e.at_ms[:, at])
    e.capacity[:, at] *= 1.0 - lost
    e.strength[:, at] *= 1.0 - 0.8 * lost
    e.power[:, at] *= 1.0 - 0.35 * lost


def _leak(e: Effects, fault: Fault, at: Columns) -> None:
    lost_lpm = fault.size * fault.grown(e.at_ms[:, at])
    e.leak_lpm[:, at] += lost_lpm
    e.strength[:, at] *= 1.0 - np.minimum(0.25 * lost_lpm / e.rated_lpm[at], 0.9)


def _supply_sag(e: Effects, fault: Fault, at: Columns) -> None:
    e.volts_share[:, at] *= 1.0 - fault.size * fault.grown(e.at_ms[:, at])


def _supply_cut(e: Effects, fault: Fault, at: Columns) -> None:
    e.volts_share[:, at] *= ~fault.active(e.at_ms[:, at])


def _overdraw(e: Effects, fault: Fault, at: Columns) -> None:
    _set(e.flow_lpm, at, fault.active(e.at_ms[:, at]), e.rated_lpm[at] + fault.size)


def _flow_change(e: Effects, fault: Fault, at: Columns) -> None:
    _set(e.flow_lpm, at, fault.active(e.at_ms[:, at]), fault.size)


def _tube_blocked(e: Effects, fault: Fault, at: Columns) -> None:
    """Nothing passes the tube, whatever is set: pressure rises to what an unloaded outlet has."""
    e.blocked[:, at] |= fault.active(e.at_ms[:, at])


def _switched_off(e: Effects, fault: Fault, at: Columns) -> None:
    e.on[:, at] &= ~fault.active(e.at_ms[:, at] - FLOW_OFF_FIRST_MS)
    e.closed[:, at] |= fault.active(e.at_ms[:, at])


def _switched_on(e: Effects, fault: Fault, at: Columns) -> None:
    e.on[:, at] |= fault.active(e.at_ms[:, at])
    e.closed[:, at] &= ~fault.active(e.at_ms[:, at])


def _bridge_silent(e: Effects, fault: Fault, at: Columns) -> None:
    e.silent[:, at] |= fault.active(e.at_ms[:, at]) & (not fault.backlog)


def _set(values: Array, at: Columns, where: Flags, value: float | Array) -> None:
    values[:, at] = np.where(where, value, values[:, at])


_WORK: Final[dict[str, Callable[[Effects, Fault, Columns], None]]] = {
    "sieve-worn": _sieve_worn, "sieve-wet": _sieve_wet, "intake-blocked": _intake_blocked,
    "valve-fault": _valve_fault, "compressor-weak": _compressor_weak, "leak": _leak, "supply-sag": _supply_sag,
    "supply-cut": _supply_cut, "overdraw": _overdraw, "flow-change": _flow_change, "tube-blocked": _tube_blocked,
    "unit-switched-off": _switched_off, "unit-switched-on": _switched_on, "bridge-silent": _bridge_silent,
}  # fmt: skip
