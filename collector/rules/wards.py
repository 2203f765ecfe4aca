"""What several units of a ward show together: a ward's power cut is one event, not twenty.

Rules of this file: a loss is judged at its own deadline (`lost_hold_ms` after it was seen) from what was known by then,
so live and replay judge alike. Which units an outage took is remembered in the units themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

from collector.reading import Reading
from collector.rules import supply
from collector.rules.catalogue import CATALOGUE, SUPPLY_UNSEEN_ACTION, action_text
from collector.rules.events import CLEARED, RAISED, Event, Evidence
from collector.rules.findings import clear_all, raise_now
from collector.rules.hours import is_on
from collector.rules.limits import Limits
from collector.rules.memory import Tracked, Watch


def judge_loss(units: Sequence[Tracked], due_ms: int, limits: Limits) -> list[Event]:
    """Judge the supply losses of one ward that are due at `due_ms`."""
    lost = [u for u in units if u.memory.lost_ms is not None and u.memory.lost_ms <= due_ms]
    if not lost:
        return []
    standing = [u for u in units if u.memory.outage_size]
    if standing:
        _join(lost, standing[0].memory.outage_ms or due_ms, standing[0].memory.outage_size + len(lost))
        return []
    told = [u for u in units if _told_lately(u, due_ms - limits.lost_window_ms)]
    gone = len(lost) + len(told)
    running = gone + sum(is_on(u.row.phase) for u in units if u not in lost)
    if gone >= limits.ward_lost_units and gone >= limits.ward_lost_share * running:
        return _ward_lost(lost, told, due_ms)
    return [_unit_lost(u, due_ms) for u in lost if (u.memory.lost_ms or 0) + limits.lost_hold_ms <= due_ms]


def _told_lately(unit: Tracked, from_ms: int) -> bool:
    watch = unit.memory.watches.get("supply-lost")
    return watch is not None and watch.since_ms >= from_ms


def _join(members: Sequence[Tracked], outage_ms: int, size: int) -> None:
    for unit in members:
        memory = unit.memory
        memory.outage_ms, memory.outage_size, memory.lost_ms, memory.back_ms = outage_ms, size, None, None


def _ward_lost(lost: Sequence[Tracked], told: Sequence[Tracked], due_ms: int) -> list[Event]:
    members = [*lost, *told]
    moments = [u.memory.lost_ms for u in lost if u.memory.lost_ms is not None]
    moments += [u.memory.watches["supply-lost"].since_ms for u in told]
    folded = [e for u in told for e in clear_all(u, ("supply-lost",), due_ms, {"told_as": "ward-supply-lost"})]
    first_ms = min(moments)
    _join(members, first_ms, len(members))
    evidence: Evidence = {
        "units_lost": len(members),
        "units": sorted(u.id for u in members),
        "seen_for_s": (due_ms - first_ms) // 1000,
    }
    return [_ward_event(members[0], RAISED, due_ms, evidence), *folded]


def _ward_event(unit: Tracked, kind: str, time_ms: int, evidence: Evidence) -> Event:
    condition = CATALOGUE["ward-supply-lost"]
    return Event(
        time_ms=time_ms, unit="", ward=unit.ward.id, event=kind, condition=condition.name,
        priority=condition.priority, audience=condition.audience, evidence=evidence,
        action="" if kind == CLEARED else action_text(condition.action, evidence),
    )  # fmt: skip


def _unit_lost(unit: Tracked, time_ms: int) -> Event:
    memory = unit.memory
    memory.watches["supply-lost"] = Watch(memory.lost_ms or time_ms)
    memory.lost_ms = memory.back_ms = None
    volts = unit.row.volts
    evidence: Evidence = {"volts": volts, "power_w": unit.row.power_w, "flow_lpm": memory.use_flow_lpm}
    action = SUPPLY_UNSEEN_ACTION if volts is None else ""
    return raise_now(unit, "supply-lost", time_ms, evidence, action=action)


def leave_outage(unit: Tracked, units: Sequence[Tracked], r: Reading) -> tuple[list[Event], list[Tracked]]:
    """A member's supply is back: end the ward's outage when half of it is; returns events and the units they touched.

    Members that are still without supply when the ward's event ends are told one by one.
    """
    memory = unit.memory
    size, started_ms = memory.outage_size, memory.outage_ms
    memory.outage_ms, memory.outage_size = None, 0
    found: list[Event] = []
    rest = [u for u in units if u.memory.outage_size]
    size = max([size, *(u.memory.outage_size for u in rest)]) if size else 0
    over = size > 0 and 2 * len(rest) <= size
    if over:
        lasted_s = (r.time_ms - (started_ms or r.time_ms)) // 1000
        found.append(_ward_event(unit, CLEARED, r.time_ms, {"units_lost": size, "lasted_s": lasted_s}))
    supply.end_loss(unit, r, found)
    for other in rest if over else ():
        other.memory.outage_size = 0  # told for the ward no longer; outage_ms stays until its supply is steadily back
        if other.memory.back_ms is None:
            other.memory.outage_ms, other.memory.lost_ms = None, r.time_ms
            found.append(_unit_lost(other, r.time_ms))
    return found, rest
