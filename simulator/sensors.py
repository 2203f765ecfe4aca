"""From what is to what is measured: noise, resolution, bias, drift, missing values, and the faults of sensors.

Rules of this file: what is measured is a function of the truth, the seed and the moment (noise.py), but for a stuck
sensor, which holds what it showed when it stuck.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final, NamedTuple

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from collector.reading import QUANTITIES
from simulator import noise
from simulator.effects import Columns, Flags
from simulator.faults import Fault
from simulator.noise import Keys, Times
from simulator.physics import Array

#: Decimals that the instruments show: a tenth of a percent, a watt, a tenth of an hour. Common practice.
DECIMALS: Final = {"purity_pct": 1, "flow_lpm": 2, "power_w": 0, "temp_c": 1, "volts": 1, "pressure_kpa": 1,
                   "hours_h": 1}  # fmt: skip
_MONTH_MS: Final = 30 * 86_400_000
_BIAS, _DRIFT, _MISSING, _SPIKE = 40, 41, 42, 60
_NOISE, _BLANK = 10, 20  # first channels of one a quantity

Share = Annotated[float, Field(ge=0, le=1)]
Spread = Annotated[float, Field(ge=0, le=100)]
Placed = tuple[int, Fault, Columns]  # a fault's number, the fault, and the columns of the units it befalls
Marks = dict[tuple[int, int], float]  # (fault's number, column) -> what stood there when the fault began


class Sensors(BaseModel):
    """How good the instruments are: standard deviations, in the quantity's unit or as a share of the value.

    Defaults are common practice: purity 0.2 to 0.5 %, flow and power 1 to 2 %, 1 to 5 % of packets lost, drift 0.1 to
    1 % a month, downwards in an ageing galvanic cell.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    purity_sd_pct: Spread = 0.25
    purity_bias_sd_pct: Spread = 0.25
    drift_pct_per_month: Spread = 0.2
    flow_sd_share: Share = 0.012
    power_sd_share: Share = 0.01
    temp_sd_c: Spread = 0.15
    volts_sd_share: Share = 0.003
    pressure_sd_kpa: Spread = 0.4
    missing_share: Share = 0.01
    missing_value_share: Share = 0.001


class Moment(NamedTuple):
    """A block of moments, one row a moment, one column a unit: when (absolute, and from the story's start)."""

    time_ms: Times
    at_ms: Times


def measure(truth: dict[str, Array], moment: Moment, key: Keys, sensors: Sensors) -> dict[str, Array]:
    """Add bias, drift and noise to what is; keeps what cannot be negative from being so."""
    seen: dict[str, Array] = {}
    for channel, name in enumerate(QUANTITIES):
        value = truth[name]
        spread = _spread(name, value, sensors)
        if spread is not None:
            value = value + spread * noise.normal(key, moment.time_ms, _NOISE + channel)
        if name == "purity_pct":
            value = value + _offset(moment, key, sensors)
        seen[name] = np.maximum(value, 0.0)
    return seen


def _spread(name: str, value: Array, sensors: Sensors) -> float | Array | None:
    if name == "purity_pct":
        return sensors.purity_sd_pct
    if name == "temp_c":
        return sensors.temp_sd_c
    if name == "pressure_kpa":
        return np.where(value > 0, sensors.pressure_sd_kpa, 0.0)
    share = {"flow_lpm": sensors.flow_sd_share, "power_w": sensors.power_sd_share, "volts": sensors.volts_sd_share}
    return value * share[name] if name in share else None


def _offset(moment: Moment, key: Keys, sensors: Sensors) -> Array:
    """Each analyser's own bias, within two standard deviations, and its own slow drift since the story's start."""
    still = np.zeros((1, len(key)), np.int64)
    bias = sensors.purity_bias_sd_pct * np.clip(noise.normal(key, still, _BIAS), -2.0, 2.0)
    drift = -sensors.drift_pct_per_month * noise.uniform(key, still, _DRIFT)
    return np.asarray(bias + drift * moment.at_ms / _MONTH_MS)


def disturb(seen: dict[str, Array], moment: Moment, key: Keys, faults: Sequence[Placed], marks: Marks) -> None:
    """Let the faults of sensors work on what is measured, then round to what the instruments show."""
    for number, fault, at in faults:
        values = seen[fault.quantity]
        if fault.kind == "sensor-drift":
            values[:, at] += fault.size * fault.grown(moment.at_ms[:, at])
        elif fault.kind == "sensor-spike":
            chance = noise.uniform(key[at], moment.time_ms[:, at], _SPIKE + number)
            values[:, at] += np.where(fault.active(moment.at_ms[:, at]) & (chance < fault.share), fault.size, 0.0)
    for name, decimals in DECIMALS.items():
        seen[name] = np.round(seen[name], decimals)
    for number, fault, at in faults:
        if fault.kind == "sensor-stuck":
            hold(seen[fault.quantity], fault.active(moment.at_ms[:, at]), number, at, marks)


def hold(values: Array, active: Flags, number: int, at: Columns, marks: Marks) -> None:
    """Keep the value that stood in each column when the fault began, for as long as it is active."""
    for place, column in enumerate(at.tolist()):
        rows = active[:, place]
        if not rows.any():
            continue
        mark = marks.setdefault((number, column), float(values[rows.argmax(), column]))
        values[rows, column] = mark


def shown_time(moment: Moment, faults: Sequence[Placed]) -> Times:
    """The times that the bridges' clocks put on the readings."""
    shown = moment.time_ms
    for _number, fault, at in faults:
        if fault.kind == "clock-offset":
            shown = shown.copy()
            shown[:, at] += np.rint(1000 * fault.size * fault.grown(moment.at_ms[:, at])).astype(np.int64)
    return shown


def arrives(moment: Moment, key: Keys, sensors: Sensors) -> Flags:
    """Which readings arrive at all."""
    return np.asarray(noise.uniform(key, moment.time_ms, _MISSING) >= sensors.missing_share)


def leave_out(seen: dict[str, Array], moment: Moment, key: Keys, sensors: Sensors) -> None:
    """Blank a value here and there: NaN stands for "not measured"."""
    if not sensors.missing_value_share:
        return
    for channel, name in enumerate(QUANTITIES):
        blank = noise.uniform(key, moment.time_ms, _BLANK + channel) < sensors.missing_value_share
        seen[name] = np.where(blank, np.nan, seen[name])
