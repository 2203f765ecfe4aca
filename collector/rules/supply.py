"""A unit that goes off: did it switch itself off, lose its supply, or was it switched off?

A loss of supply is only noted here (`Memory.lost_ms`); it is judged with the ward's other units in wards.py.
"""

from __future__ import annotations

from collector.reading import Reading
from collector.rules import causes
from collector.rules.catalogue import NOT_RESTARTED_ACTION, STOPPED_ACTION
from collector.rules.events import Event, Evidence
from collector.rules.findings import clear_all, raise_now, raised
from collector.rules.hours import is_on
from collector.rules.limits import Limits
from collector.rules.memory import Tracked, Watch
from collector.rules.unitrow import OFF


def went_off(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    """Judge a unit that ran at its last reading and is off now."""
    memory = unit.memory
    purity = memory.run_purity_pct
    gone = r.volts is not None and r.volts < unit.volts_lost
    if not gone and raised(unit, "purity-shutdown"):
        return  # it has switched itself off once more before it was good again
    if not gone and _was_low(unit, purity):
        evidence: Evidence = {
            "last_purity_pct": purity,
            "limit_pct": unit.model.shutdown_pct,
            "volts": r.volts,
        }
        found.append(raise_now(unit, "purity-shutdown", r.time_ms, evidence, cause=causes.of_shutdown(unit)))
    elif gone or (r.volts is None and memory.delivered):
        memory.lost_ms, memory.back_ms = r.time_ms, None
    elif memory.delivered:
        _stopped_in_use(unit, r.time_ms)


def _stopped_in_use(unit: Tracked, time_ms: int) -> None:
    """Flow turned off and then the unit within the flow's on-delay is the usual end of a therapy: nothing to tell."""
    memory = unit.memory
    watch = memory.watches.get("flow-absent")
    if watch is not None and watch.raised_ms is None:
        del memory.watches["flow-absent"]
        return
    memory.stopped_ms = time_ms
    if watch is None:
        memory.watches["flow-absent"] = Watch(time_ms)


def _was_low(unit: Tracked, purity: float | None) -> bool:
    return raised(unit, "purity-red") or (purity is not None and purity < unit.red_pct)


def while_off(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    """A further reading of a unit that is off: its supply may go, and a stop in use may be due to be told."""
    memory = unit.memory
    stopped_ms = memory.stopped_ms
    if stopped_ms is None:
        return
    if r.volts is not None and r.volts < unit.volts_lost and not raised(unit, "flow-absent"):
        # Power was gone a reading before the volts were: it was the supply after all.
        memory.stopped_ms, memory.lost_ms = None, r.time_ms
        memory.watches.pop("flow-absent", None)
        return
    if not raised(unit, "flow-absent") and r.time_ms - stopped_ms >= limits.stopped_on_ms:
        found.append(_stopped(unit, r.time_ms, STOPPED_ACTION))
    elif r.time_ms - stopped_ms >= limits.stopped_off_ms:
        memory.stopped_ms = None
        evidence: Evidence = {"why": "off for half an hour: taken as switched off on purpose"}
        found += clear_all(unit, ("flow-absent",), r.time_ms, evidence)


def _stopped(unit: Tracked, time_ms: int, action: str) -> Event:
    evidence: Evidence = {"flow_lpm": unit.memory.use_flow_lpm, "volts": unit.row.volts}
    return raise_now(unit, "flow-absent", time_ms, evidence, priority="medium", action=action)


def came_back(unit: Tracked, r: Reading, found: list[Event]) -> None:
    """A unit that was off runs again: what was said about its being off is over."""
    memory = unit.memory
    memory.lost_ms = memory.stopped_ms = None
    found += clear_all(unit, ("supply-lost", "flow-absent"), r.time_ms, {"power_w": r.power_w, "volts": r.volts})


def steadily_back(unit: Tracked, r: Reading, limits: Limits) -> bool:
    """Whether a unit's lost supply has been back for long enough to say so."""
    memory = unit.memory
    if not (is_on(unit.row.phase) or (r.volts is not None and r.volts >= unit.volts_lost)):
        memory.back_ms = None
        return False
    if memory.back_ms is None:
        memory.back_ms = r.time_ms
    return r.time_ms - memory.back_ms >= limits.supply_back_ms


def end_loss(unit: Tracked, r: Reading, found: list[Event]) -> None:
    """A unit's supply is back: say so, and say it too when the unit has not started again by itself."""
    memory = unit.memory
    memory.back_ms = memory.lost_ms = None
    found += clear_all(unit, ("supply-lost",), r.time_ms, {"volts": r.volts})
    if unit.row.phase == OFF and memory.delivered and not raised(unit, "flow-absent"):
        memory.stopped_ms = r.time_ms
        found.append(_stopped(unit, r.time_ms, NOT_RESTARTED_ACTION))
