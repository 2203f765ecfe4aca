"""Raising and clearing one condition of one unit, with its delays; every event of a unit is made here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from collector.rules.catalogue import CATALOGUE, OUTPUT, action_text
from collector.rules.events import CLEARED, RAISED, UPDATED, Event, Evidence, Priority
from collector.rules.limits import MINUTE, Delay
from collector.rules.memory import Tracked, Watch

#: So long the signs must speak for another cause before what was told is corrected: causes must not flip about.
OTHER_CAUSE_MS: Final = 15 * MINUTE


def follow(
    unit: Tracked,
    name: str,
    bad: bool | None,
    delay: Delay,
    time_ms: int,
    evidence: Evidence,
    cause: str = "unknown",
    priority: Priority | None = None,
    audience: tuple[str, ...] | None = None,
    action: str = "",
) -> Event | None:
    """Move one condition along by one reading; returns its event when it is raised or cleared now.

    `bad` None means that this reading cannot say: the condition holds as it is. A condition that is not there and not
    pending costs the caller a lookup only.
    """
    watch = unit.memory.watches.get(name)
    if watch is None:
        if bad:
            unit.memory.watches[name] = Watch(time_ms)
        return None
    if bad is None:
        return None
    if watch.raised_ms is None:
        if not bad:
            del unit.memory.watches[name]
        elif time_ms - watch.since_ms >= delay.on_ms:
            return raise_now(unit, name, time_ms, evidence, cause=cause, priority=priority, audience=audience,
                             action=action)  # fmt: skip
        return None
    if bad:
        watch.good_ms = None
        return _recaused(unit, name, watch, time_ms, evidence, cause)
    if watch.good_ms is None:
        watch.good_ms = time_ms
    return clear_now(unit, name, time_ms, evidence) if time_ms - watch.good_ms >= delay.off_ms else None


def raise_now(
    unit: Tracked, name: str, time_ms: int, evidence: Evidence, *, cause: str = "unknown",
    priority: Priority | None = None, action: str = "", audience: tuple[str, ...] | None = None,
) -> Event:  # fmt: skip
    """Raise a condition at once; `since` in the evidence says for how many seconds it has been seen."""
    condition = CATALOGUE[name]
    watch = unit.memory.watches.get(name)
    since_ms = watch.since_ms if watch else time_ms
    told = audience if audience is not None else condition.audience
    watch = Watch(since_ms, raised_ms=time_ms, priority=priority or condition.priority, cause=cause, audience=told)
    unit.memory.watches[name] = watch
    evidence = evidence | {"seen_for_s": (time_ms - since_ms) // 1000}
    return _event(unit, name, RAISED, watch, time_ms, evidence, action)


def clear_now(unit: Tracked, name: str, time_ms: int, evidence: Evidence) -> Event | None:
    """Clear a raised condition at once, or drop a pending one; None when nothing had been raised."""
    watch = unit.memory.watches.pop(name, None)
    if watch is None or watch.raised_ms is None:
        return None
    # A reading that came late may be older than the silence that it ends.
    evidence = evidence | {"lasted_s": max(0, time_ms - watch.raised_ms) // 1000}
    return _event(unit, name, CLEARED, watch, time_ms, evidence, "")


def clear_all(unit: Tracked, names: Iterable[str], time_ms: int, evidence: Evidence) -> list[Event]:
    """Clear several conditions at once; the events of those that had been raised."""
    events = (clear_now(unit, name, time_ms, evidence) for name in names)
    return [event for event in events if event is not None]


def reword(
    unit: Tracked, name: str, time_ms: int, evidence: Evidence, *, priority: Priority | None = None,
    audience: tuple[str, ...] | None = None,
) -> Event:  # fmt: skip
    """Say something new of a raised condition: a higher priority, a wider audience, another figure in its words."""
    watch = unit.memory.watches[name]
    watch.priority, watch.audience = priority or watch.priority, audience or watch.audience
    return _event(unit, name, UPDATED, watch, time_ms, evidence, "")


def raised(unit: Tracked, name: str) -> bool:
    """Whether a condition of a unit stands raised."""
    watch = unit.memory.watches.get(name)
    return watch is not None and watch.raised_ms is not None


def _recaused(unit: Tracked, name: str, watch: Watch, time_ms: int, evidence: Evidence, cause: str) -> Event | None:
    """Say so once when a better cause than "unknown" appears, or when another has been the likelier one for a while."""
    if cause in ("unknown", watch.cause):
        watch.other = ""
        return None
    if watch.cause != "unknown":
        if watch.other != cause:
            watch.other, watch.other_ms = cause, time_ms
        if time_ms - watch.other_ms < OTHER_CAUSE_MS:
            return None
    watch.cause, watch.other = cause, ""
    return _event(unit, name, UPDATED, watch, time_ms, evidence, "")


def _event(unit: Tracked, name: str, kind: str, watch: Watch, time_ms: int, evidence: Evidence, action: str) -> Event:
    text = "" if kind == CLEARED else action_text(action or CATALOGUE[name].action, evidence)
    return Event(
        time_ms=time_ms, unit=unit.id, ward=unit.ward.id, event=kind, condition=name, priority=watch.priority,
        audience=watch.audience, cause=watch.cause, evidence=evidence, action=text, **_foreseen(unit, name, kind),
    )  # fmt: skip


def _foreseen(unit: Tracked, name: str, kind: str) -> dict[str, Any]:
    """The forecast and capacity that an event about a unit's output carries, where there is an estimate."""
    known = unit.row.capacity
    if known is None or not known.seen or kind == CLEARED or name not in OUTPUT:
        return {}
    capacity = {"p05": round(known.p05_lpm, 2), "p50": round(known.p50_lpm, 2), "p95": round(known.p95_lpm, 2)}
    outlook = known.outlook
    if outlook is None:
        return {"capacity_lpm": capacity}
    forecast = {name: getattr(outlook, name) for name in ("amber_in_min", "red_in_min", "shutdown_in_min")}
    return {"capacity_lpm": capacity, "forecast": forecast}
