"""What a unit's row shows of a reading."""

from __future__ import annotations

from collector.reading import Reading
from collector.rules.limits import Limits
from collector.rules.memory import Tracked


def show(unit: Tracked, r: Reading, now_ms: int, limits: Limits) -> None:
    """Take a reading's values into the unit's row; one that is not measured for `absent_ms` is shown no longer."""
    row, memory = unit.row, unit.memory
    row.received_ms = now_ms
    # An analyser that has died leaves no value behind that would go on looking good.
    if r.purity_pct is not None:
        row.purity_pct, memory.purity_ms = r.purity_pct, r.time_ms
    elif memory.purity_ms is not None and r.time_ms - memory.purity_ms > limits.absent_ms:
        row.purity_pct = None
    if r.flow_lpm is not None:
        row.flow_lpm, memory.flow_ms = r.flow_lpm, r.time_ms
    elif memory.flow_ms is not None and r.time_ms - memory.flow_ms > limits.absent_ms:
        row.flow_lpm = None
    if r.power_w is not None:
        row.power_w = r.power_w
    if r.temp_c is not None:
        row.temp_c = r.temp_c
    if r.volts is not None:
        row.volts = r.volts
    if r.pressure_kpa is not None:
        row.pressure_kpa = r.pressure_kpa
    if r.hours_h is not None:
        row.hours_h = r.hours_h
