"""Sags and swells of a supply that is there; several units of a ward show them as one event.

A loss of supply is another thing: see supply.py and wards.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from collector.reading import Reading
from collector.rules import causes
from collector.rules.catalogue import CATALOGUE, POOR_TOGETHER_ACTION
from collector.rules.events import Event, Evidence
from collector.rules.findings import follow, raise_now
from collector.rules.hours import is_on
from collector.rules.limits import Limits
from collector.rules.memory import Shared, Tracked, Watch
from collector.rules.shared import Kind, SharedConditions, Whole

POOR: Final = "supply-poor"


def kind(limits: Limits) -> Kind:
    """A poor supply as a condition that a ward's units may share."""
    return Kind(POOR, limits.poor_together, _shows, _could, _told_alone, _whole)


def check_sags(unit: Tracked, r: Reading, limits: Limits, shared: SharedConditions, found: list[Event]) -> None:
    """Take the supply of one reading in."""
    volts = r.volts
    if volts is None:
        return
    low, high = unit.volts_low, unit.volts_high
    watch, share = unit.memory.watches.get(POOR), unit.memory.shared.get(POOR)
    if share is not None or (watch is not None and watch.raised_ms is not None):
        edge = unit.model.nominal_volts * limits.poor_deadband_share
        low, high = low + edge, high - edge
    if volts < unit.volts_lost:  # there is none: that says nothing about how good it is
        return
    bad = not low <= volts <= high
    if share is not None:
        _follow_shared(unit, share, r.time_ms, bad, limits, shared, found)
    elif bad and watch is not None and watch.raised_ms is None and r.time_ms - watch.since_ms >= limits.poor.on_ms:
        del unit.memory.watches[POOR]
        shared.wait(unit, POOR, watch.since_ms, r.time_ms, _cause(unit, volts), volts)
    elif bad or watch is not None:
        event = follow(unit, POOR, bad, limits.poor, r.time_ms, _evidence(unit, volts), _cause(unit, volts))
        if event is not None:
            found.append(event)


def _follow_shared(
    unit: Tracked, share: Shared, time_ms: int, bad: bool, limits: Limits, shared: SharedConditions,
    found: list[Event],
) -> None:  # fmt: skip
    if bad:
        share.good_ms = None
        return
    if share.good_ms is None:
        share.good_ms = time_ms
    if time_ms - share.good_ms >= limits.poor.off_ms:
        shared.leave(unit, POOR, time_ms, found)


def _evidence(unit: Tracked, volts: float | None) -> Evidence:
    return {"volts": volts, "nominal_volts": unit.model.nominal_volts}


def _cause(unit: Tracked, volts: float | None) -> str:
    return causes.SUPPLY_LOW if volts is not None and volts < unit.model.nominal_volts else causes.UNKNOWN


def _shows(unit: Tracked) -> bool:
    watch = unit.memory.watches.get(POOR)
    return watch is not None and watch.raised_ms is not None


def _could(unit: Tracked) -> bool:
    return is_on(unit.row.phase) and not _shows(unit) and POOR not in unit.memory.shared


def _told_alone(unit: Tracked, share: Shared, time_ms: int) -> Event:
    unit.memory.watches[POOR] = Watch(share.since_ms)
    event = raise_now(unit, POOR, time_ms, _evidence(unit, share.value), cause=share.cause)
    unit.memory.watches[POOR].good_ms = share.good_ms
    return event


def _whole(units: Sequence[Tracked], time_ms: int) -> Whole:
    shares = [u.memory.shared[POOR] for u in units]
    volts = [share.value for share in shares if share.value is not None]
    evidence: Evidence = {
        "units_poor": len(units),
        "units": sorted(u.id for u in units),
        "lowest_volts": min(volts, default=None),
        "highest_volts": max(volts, default=None),
        "seen_for_s": (time_ms - min(share.since_ms for share in shares)) // 1000,
    }
    condition, found = CATALOGUE[POOR], {share.cause for share in shares}
    cause = found.pop() if len(found) == 1 else causes.UNKNOWN
    return Whole(evidence, POOR_TOGETHER_ACTION, condition.priority, condition.audience, cause)
