"""Proven flow: the highest flow at which a unit has lately been seen to hold acceptable purity.

At low flow capacity cannot be seen; all that may be said is "proven to X L/min on DATE". Acceptable is the model's
amber limit; held means `hold_ms` within `hold_share` of one flow. A red reading at or under a proven flow unproves it.
"""

from __future__ import annotations

from collector.reading import Reading
from collector.rules.limits import Limits
from collector.rules.memory import Tracked


def follow_proven(unit: Tracked, r: Reading, limits: Limits) -> None:
    """Take one reading of a running unit in."""
    memory, flow, purity = unit.memory, r.flow_lpm, r.purity_pct
    if flow is None or purity is None:
        return
    if purity < unit.amber_pct or flow < limits.on_flow_lpm or purity > limits.ceiling_pct:
        memory.hold_ms = None
        row = unit.row
        if row.proven_lpm is not None and purity < unit.red_pct and flow <= row.proven_lpm:
            row.proven_lpm = row.proven_ms = None
        return
    hold = memory.hold_lpm
    if memory.hold_ms is None or abs(flow - hold) > limits.hold_share * hold:
        memory.hold_ms, memory.hold_lpm = r.time_ms, flow
    elif r.time_ms - memory.hold_ms >= limits.hold_ms:
        _prove(unit, r.time_ms, limits)


def _prove(unit: Tracked, time_ms: int, limits: Limits) -> None:
    row, flow = unit.row, unit.memory.hold_lpm
    stale = row.proven_ms is None or time_ms - row.proven_ms > limits.proven_ms
    if stale or row.proven_lpm is None or flow >= row.proven_lpm * (1 - limits.hold_share / 2):
        row.proven_lpm = flow if stale or row.proven_lpm is None else max(flow, row.proven_lpm)
        row.proven_ms = time_ms
