"""Proven flow: the highest flow at which a unit has lately been seen to hold acceptable purity.

At low flow capacity cannot be seen; all that may be said is "proven to X L/min on DATE". Acceptable is the model's
amber limit; held means `hold_ms` within `hold_share` of one flow. A red reading at or under a proven flow unproves it.
A check with a reference analyser (the journal's `purity-proof`) says the same as readings do, by its least purity.
"""

from __future__ import annotations

from collections.abc import Mapping

from collector.reading import Reading
from collector.rules.entries import PASS
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
        _prove(unit, memory.hold_lpm, r.time_ms, limits)


def take_proof(unit: Tracked, body: Mapping[str, object], time_ms: int, limits: Limits) -> bool:
    """Take a `purity-proof` row in; True when the proven flow has changed. What is no number proves nothing."""
    left, may_err, flow = (body.get(name) for name in ("as_left_pct", "uncertainty_pct", "flow_lpm"))
    if not (isinstance(left, int | float) and isinstance(may_err, int | float) and isinstance(flow, int | float)):
        return False
    row = unit.row
    before = row.proven_lpm, row.proven_ms
    if left < unit.red_pct and row.proven_lpm is not None and flow <= row.proven_lpm:
        row.proven_lpm = row.proven_ms = None
    elif body.get("result") == PASS and left - may_err >= unit.amber_pct and flow >= limits.on_flow_lpm:
        # Readings at a low flow may have moved proven_ms past the check already: a higher flow says more.
        known = row.proven_ms is not None and row.proven_ms >= time_ms and flow <= (row.proven_lpm or 0.0)
        if not known:
            _prove(unit, flow, time_ms, limits)
    return (row.proven_lpm, row.proven_ms) != before


def _prove(unit: Tracked, flow: float, time_ms: int, limits: Limits) -> None:
    row = unit.row
    stale = row.proven_ms is None or time_ms - row.proven_ms > limits.proven_ms
    if stale or row.proven_lpm is None or flow >= row.proven_lpm * (1 - limits.hold_share / 2):
        row.proven_lpm = flow if stale or row.proven_lpm is None else max(flow, row.proven_lpm)
        row.proven_ms = time_ms
