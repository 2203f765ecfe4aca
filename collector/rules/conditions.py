"""The conditions that one unit's readings show: purity, flow and suspect sensors.

Rules of this file: each check gets the unit after the reading has been taken in, appends what it finds, and changes
nothing but the unit's memory. A value that is not measured never raises and never clears.
"""

from __future__ import annotations

from collector.reading import Reading
from collector.rules import causes
from collector.rules.events import Event, Evidence
from collector.rules.findings import clear_all, follow, raise_now, raised
from collector.rules.limits import DAY, MINUTE, Delay, Limits
from collector.rules.memory import Tracked
from collector.rules.unitrow import RUNNING


def check_running(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    """Every check of a unit that runs, in the order in which people should hear of it."""
    if unit.row.phase == RUNNING:
        _purity(unit, r, limits, found)
        _suspect(unit, r, limits, found)
    _flow(unit, r, limits, found)


def _add(found: list[Event], event: Event | None) -> None:
    if event is not None:
        found.append(event)


def _under(
    unit: Tracked,
    name: str,
    value: float,
    limit: float,
    deadband: float,
    delay: Delay,
    time_ms: int,
    found: list[Event],
) -> None:
    """Follow "value is strictly under limit"; a raised one clears from limit + deadband on."""
    watch = unit.memory.watches.get(name)
    bad = value < (limit + deadband if watch and watch.raised_ms is not None else limit)
    if bad or watch:
        evidence: Evidence = {"purity_pct": value, "limit_pct": limit, "flow_lpm": unit.row.flow_lpm}
        _add(found, follow(unit, name, bad, delay, time_ms, evidence, causes.of_low_purity(unit)))


def _over(
    unit: Tracked, name: str, value: float, limit: float, deadband: float, delay: Delay, time_ms: int,
    found: list[Event], shown_limit: float,
) -> None:  # fmt: skip
    watch = unit.memory.watches.get(name)
    bad = value > (limit - deadband if watch and watch.raised_ms is not None else limit)
    if bad or watch:
        evidence: Evidence = {"flow_lpm": value, "limit_lpm": shown_limit}
        cause = causes.FLOW_ABOVE_RATED if name == "flow-above-rated" else causes.UNKNOWN
        _add(found, follow(unit, name, bad, delay, time_ms, evidence, cause))


def _purity(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    purity = r.purity_pct
    if purity is None:
        return
    watches = unit.memory.watches
    if watches and "purity-shutdown" in watches and purity >= unit.amber_pct:
        found += clear_all(unit, ("purity-shutdown",), r.time_ms, {"purity_pct": purity})
    if purity < unit.amber_pct:
        _start_again_if_wild(unit, purity, r.time_ms, limits)
        _falls_through(unit, purity, r.time_ms, limits, found)
        unit.memory.low_pct = purity
    else:
        if unit.memory.low_n:
            _note_wild(unit, r.time_ms)
        unit.memory.good_pct, unit.memory.good_ms, unit.memory.low_n = purity, r.time_ms, 0
    if purity < unit.amber_pct + limits.purity_deadband_pct or watches:
        gap = limits.purity_deadband_pct
        _under(unit, "purity-red", purity, unit.red_pct, gap, limits.red, r.time_ms, found)
        _under(unit, "purity-amber", purity, unit.amber_pct, gap, limits.amber, r.time_ms, found)


def _falls_through(unit: Tracked, purity: float, time_ms: int, limits: Limits, found: list[Event]) -> None:
    """A fall so steep that amber's and red's delays would eat what time is left: told at its third low reading."""
    memory = unit.memory
    memory.low_n += 1
    if memory.low_n == 1:
        memory.low_first_pct = purity
    if memory.good_ms is None or raised(unit, "purity-red"):
        return
    # One low value may be a wild one; one that comes just as somebody turns the flow up is not.
    if not (_turned_up(unit) and purity < unit.amber_pct - 1.0):
        lasted_min = (time_ms - memory.good_ms) / MINUTE
        steep = memory.good_pct - purity >= limits.steep_pct_per_min * lasted_min and lasted_min <= limits.steep_min
        lately = _lately_turned_up(unit, time_ms) and purity < unit.red_pct
        falls_on = purity < memory.low_first_pct - limits.purity_deadband_pct
        if not steep or memory.low_n < (2 if lately else 3) or not (falls_on or purity < unit.red_pct):
            return
    evidence: Evidence = {"purity_pct": purity, "limit_pct": unit.red_pct, "flow_lpm": unit.row.flow_lpm,
                          "fell_pct": memory.good_pct - purity, "falls_under": f"{unit.red_pct:g} % (red)"}  # fmt: skip
    cause = causes.of_low_purity(unit)
    if purity < unit.red_pct:
        found.append(raise_now(unit, "purity-red", time_ms, evidence, cause=cause))
    elif not raised(unit, "shutdown-expected"):
        found.append(raise_now(unit, "shutdown-expected", time_ms, evidence, cause=cause, priority="high"))


def _start_again_if_wild(unit: Tracked, purity: float, time_ms: int, limits: Limits) -> None:
    """Low values that jump up and down are an analyser's: what is pending waits for one that holds or falls on.

    Where single wild values have lately been frequent, two running are not believed either.
    """
    memory = unit.memory
    jumps = memory.low_n > 0 and purity > memory.low_pct + limits.wild_pct
    if jumps:
        memory.low_n = 0
    if jumps or (memory.low_n == 1 and _wild_lately(unit, time_ms) >= limits.wild_often):
        for name in ("purity-amber", "purity-red"):
            watch = memory.watches.get(name)
            if watch is not None and watch.raised_ms is None:
                watch.since_ms = time_ms


def _note_wild(unit: Tracked, time_ms: int) -> None:
    """One or two low readings between good ones were wild."""
    memory = unit.memory
    if 0 < memory.low_n <= 2:
        memory.wild, memory.wild_ms = _wild_lately(unit, time_ms) + 1.0, time_ms


def _wild_lately(unit: Tracked, time_ms: int) -> float:
    """How many wild readings there have been, each counting for less as days go by."""
    memory = unit.memory
    return memory.wild * float(0.5 ** ((time_ms - memory.wild_ms) / DAY))


def _turned_up(unit: Tracked) -> bool:
    part, flow = unit.memory.part, unit.row.flow_lpm
    return part is not None and flow is not None and flow > 1.1 * part.flow_lpm + 0.1


def _lately_turned_up(unit: Tracked, time_ms: int) -> bool:
    part = unit.memory.part
    return part is not None and part.stepped and time_ms < part.settled_ms


def _flow(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    flow = r.flow_lpm
    if flow is None:
        return
    memory = unit.memory
    if flow >= limits.on_flow_lpm:
        memory.delivered = True
    if memory.delivered and (flow < limits.absent_flow_lpm or "flow-absent" in memory.watches):
        evidence: Evidence = {"flow_lpm": flow, "power_w": unit.row.power_w}
        bad = flow < limits.on_flow_lpm
        _add(found, follow(unit, "flow-absent", bad, limits.flow_absent, r.time_ms, evidence))
    if flow > unit.over_lpm or "flow-above-rated" in memory.watches:
        _over(unit, "flow-above-rated", flow, unit.over_lpm, limits.flow_deadband_lpm, limits.above_rated, r.time_ms,
              found, unit.rated_lpm)  # fmt: skip
    limit = unit.limit_lpm
    if limit is not None and (flow > limit + limits.above_ward_lpm or "flow-above-ward-limit" in memory.watches):
        _over(unit, "flow-above-ward-limit", flow, limit + limits.above_ward_lpm, limits.flow_deadband_lpm,
              limits.above_ward, r.time_ms, found, limit)  # fmt: skip


def _suspect(unit: Tracked, r: Reading, limits: Limits, found: list[Event]) -> None:
    if "sensor-suspect" in unit.memory.shared and "sensor-suspect" not in unit.memory.watches:
        return  # the ward's event says it of this unit too
    purity = r.purity_pct
    why = ""
    if purity is None:
        # One value that is missing says nothing; an analyser that has gone quiet does.
        if unit.memory.purity_ms is None or r.time_ms - unit.memory.purity_ms <= limits.absent_ms:
            return
        why = "no purity reading, though the unit's other values come"
    elif purity > limits.ceiling_pct:
        why = f"above {limits.ceiling_pct} %, more than a sieve can give"
    elif purity < limits.floor_pct:
        why = f"under {limits.floor_pct} %, less than room air"
    elif _stuck(unit, r, limits):
        why = "unchanged to the last digit while flow or power moved"
    elif unit.belief.signs.jump_ms:
        why = "low, but power, pressure and changes of flow do not bear it out"
    if why or "sensor-suspect" in unit.memory.watches:
        unmoved = unit.memory.same_ms < r.time_ms  # the same value as before: no sign that the analyser works again
        bad = True if why else None if unmoved and raised(unit, "sensor-suspect") else False
        evidence: Evidence = {"purity_pct": purity, "why": why}
        event = follow(unit, "sensor-suspect", bad, limits.suspect, r.time_ms, evidence, causes.SENSOR_FAULT)
        _add(found, event)


def _stuck(unit: Tracked, r: Reading, limits: Limits) -> bool:
    memory = unit.memory
    if r.purity_pct != memory.same_purity:
        memory.same_purity, memory.same_ms, memory.moved = r.purity_pct, r.time_ms, False
        memory.same_flow, memory.same_power = r.flow_lpm, r.power_w
        return False
    if not memory.moved:
        memory.moved = _moved(r.flow_lpm, memory.same_flow, limits) or _moved(r.power_w, memory.same_power, limits)
    return memory.moved and r.time_ms - memory.same_ms >= limits.stuck_ms


def _moved(now: float | None, before: float | None, limits: Limits) -> bool:
    return now is not None and before is not None and abs(now - before) > limits.stuck_share * max(abs(before), 0.1)
