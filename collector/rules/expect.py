"""What is said of a unit's capacity: shut-off expected, capacity falling, capacity not proven.

Rules of this file: each condition has its own delays, and its priority only rises while it stands; words carry flows
rounded down to what a flow meter can be set to, so that an instruction does not change with every mean.
"""

from __future__ import annotations

from math import floor
from typing import Final

from collector.rules.capacity.belief import Belief
from collector.rules.capacity.now import CapacityNow
from collector.rules.capacity.signs import Signs
from collector.rules.catalogue import FALLING_UNSEEN_ACTION
from collector.rules.events import PRIORITIES, Event, Evidence, Priority
from collector.rules.findings import follow, raised, reword
from collector.rules.limits import Delay, Limits
from collector.rules.memory import Tracked

_STAGES: Final = ("amber", "red", "switch-off")


def judge_capacity(unit: Tracked, belief: Belief, time_ms: int, limits: Limits, found: list[Event]) -> None:
    """Say what a unit's new estimate calls for."""
    now = unit.row.capacity
    if now is None:
        return
    watches = unit.memory.watches
    if now.outlook is not None or watches or _shows_signs(belief.signs, limits):
        _shutdown_expected(unit, belief, now, time_ms, limits, found)
        _falling(unit, belief, now, time_ms, limits, found)
    _unproven(unit, time_ms, limits, found)


def notice_min(unit: Tracked, limits: Limits) -> float:
    """How long before amber its ward is told of a unit, in minutes: time for four changeovers at least."""
    return max(limits.notice_min, 4.0 * unit.ward.changeover_min)


def _shutdown_expected(
    unit: Tracked, belief: Belief, now: CapacityNow, time_ms: int, limits: Limits, found: list[Event]
) -> None:  # fmt: skip
    watch = unit.memory.watches.get("shutdown-expected")
    amber = now.outlook.amber_in_min["p50"] if now.outlook is not None else None
    bad = _runs_out(unit, belief, now, time_ms, limits, standing=watch is not None and watch.raised_ms is not None)
    if not bad and watch is None:
        return
    on_ms = limits.expected_soon_ms if amber is not None and amber <= limits.soon_min else limits.expected.on_ms
    delay = Delay(on_ms, limits.expected.off_ms if belief.left_ms is not None else limits.expected_well_ms)
    event = follow(unit, "shutdown-expected", bad, delay, time_ms, evidence_of(unit, now), now.cause or "unknown",
                   priority=_urgency(unit, now))  # fmt: skip
    if event is not None:
        found.append(event)
    elif bad and watch is not None and watch.raised_ms is not None:
        _rise(unit, belief, watch.priority, now, time_ms, found)
    if bad:
        belief.told_stage = max(belief.told_stage, _stage(now))
    if "shutdown-expected" not in unit.memory.watches:
        belief.told_stage = 0


def _runs_out(
    unit: Tracked, belief: Belief, now: CapacityNow, time_ms: int, limits: Limits, *, standing: bool
) -> bool | None:  # fmt: skip
    """Whether the unit will pass a limit within the ward's notice; None: what stands is held while output is low."""
    amber = now.outlook.amber_in_min["p50"] if now.outlook is not None else None
    within = notice_min(unit, limits) * (limits.notice_back if standing else 1.0)
    # Overdraw and a sag end as they came, and are told on their own: they must last before more is made of them.
    passing = belief.outside_ms is not None and time_ms - belief.outside_ms < limits.outside_ms
    if amber is not None and amber <= within and belief.left_ms is not None and not passing:
        return True
    return None if standing and raised(unit, "purity-amber") else False


def _urgency(unit: Tracked, now: CapacityNow) -> Priority:
    """Harm against onset (IEC 60601-1-8): high when no more than the changeover is left, low when hours are."""
    if now.outlook is None:
        return "low"
    red, changeover = now.outlook.red_in_min["p50"], unit.ward.changeover_min
    if red is None:
        return "low"
    return "high" if red <= changeover else "medium" if red <= max(60.0, 4.0 * changeover) else "low"


def _rise(
    unit: Tracked, belief: Belief, before: Priority, now: CapacityNow, time_ms: int, found: list[Event]
) -> None:  # fmt: skip
    """Say it anew when less time is left than was said, or when the next limit is another one."""
    after = max(before, _urgency(unit, now), key=PRIORITIES.index)
    if after != before or _stage(now) > belief.told_stage:
        found.append(reword(unit, "shutdown-expected", time_ms, evidence_of(unit, now), priority=after))


def _stage(now: CapacityNow) -> int:
    """Which limit comes next: 0 amber, 1 red, 2 switch-off."""
    if now.outlook is None:
        return 0
    return sum(q["p50"] == 0.0 for q in (now.outlook.amber_in_min, now.outlook.red_in_min))


def _falling(
    unit: Tracked, belief: Belief, now: CapacityNow, time_ms: int, limits: Limits, found: list[Event]
) -> None:  # fmt: skip
    watch = unit.memory.watches.get("capacity-falling")
    bad = _falls(unit, belief, now, limits, watch.raised_ms if watch is not None else None)
    if not bad and watch is None:
        return
    audience = ("ward", "engineer", "planner") if _fails_if_turned_up(unit, now) else ("engineer", "planner")
    evidence = evidence_of(unit, now)
    event = follow(unit, "capacity-falling", bad, limits.falling, time_ms, evidence, now.cause or "unknown",
                   audience=audience, action="" if now.good_to_lpm is not None else FALLING_UNSEEN_ACTION)  # fmt: skip
    if event is not None:
        found.append(event)
    elif (
        bad
        and watch is not None
        and watch.raised_ms is not None
        and "ward" in audience
        and "ward" not in watch.audience
    ):
        found.append(reword(unit, "capacity-falling", time_ms, evidence, audience=audience))


def _falls(unit: Tracked, belief: Belief, now: CapacityNow, limits: Limits, since_ms: int | None) -> bool | None:
    """Whether capacity falls or lies under rated; None when nothing is seen that ends what stands since then."""
    if belief.signs.learned and _shows_signs(belief.signs, limits):
        return True
    if not now.seen or now.outlook is None:
        good = max(now.p05_lpm, _proven_since(unit, since_ms)) >= limits.falling_share * unit.rated_lpm
        return False if since_ms is None or good else None
    amber = now.outlook.amber_in_min["p50"]
    soon = amber is not None and amber <= limits.falling_days * 1440
    return soon or now.p50_lpm < unit.rated_lpm * limits.falling_share * (1.0 if since_ms is None else 1.1)


def _proven_since(unit: Tracked, since_ms: int | None) -> float:
    row = unit.row
    fresh = since_ms is not None and row.proven_ms is not None and row.proven_ms > since_ms
    return (row.proven_lpm or 0.0) if fresh else 0.0


def _shows_signs(signs: Signs, limits: Limits) -> bool:
    """Signs that last for half a day or more: a sharp corner hides a fall from purity until it is nearly over."""
    both = signs.power_day < limits.weak_power / 2 and signs.temp_day_k > limits.hot_k / 2
    return both or signs.power_day < limits.weak_power or signs.temp_day_k > limits.hot_k


def _fails_if_turned_up(unit: Tracked, now: CapacityNow) -> bool:
    return now.good_to_lpm is not None and now.good_to_lpm < 0.95 * unit.rated_lpm


def evidence_of(unit: Tracked, now: CapacityNow) -> Evidence:
    """The figures behind what is said, and the flow that may be named: rounded down to the half litre."""
    good, stage = now.good_to_lpm, _stage(now)
    return {
        "purity_pct": unit.row.purity_pct, "flow_lpm": unit.row.flow_lpm, "rated_lpm": unit.rated_lpm,
        "falls_under": f"{(unit.amber_pct, unit.red_pct, unit.model.shutdown_pct)[stage]:g} % ({_STAGES[stage]})",
        "good_to_lpm": None if good is None else floor(2 * good) / 2, "why": list(now.why),
    }  # fmt: skip


def _unproven(unit: Tracked, time_ms: int, limits: Limits, found: list[Event]) -> None:
    memory, row = unit.memory, unit.row
    if memory.first_ms is None or time_ms - memory.first_ms < limits.proven_ms:
        return
    fresh = row.proven_ms is not None and time_ms - row.proven_ms <= limits.proven_ms
    bad = not (fresh and (row.proven_lpm or 0.0) >= limits.proven_share * unit.rated_lpm)
    if bad or "capacity-unproven" in memory.watches:
        evidence: Evidence = {"proven_lpm": row.proven_lpm, "rated_lpm": unit.rated_lpm,
                              "days": round(limits.proven_ms / 86_400_000)}  # fmt: skip
        event = follow(unit, "capacity-unproven", bad, limits.unproven, time_ms, evidence)
        if event is not None:
            found.append(event)
