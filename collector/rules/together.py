"""Several units of a ward whose output falls for one cause: each one's alarm stands, the cause is told together.

Rules of this file: each unit needs its own changeover, so no alarm is merged or held back. What is said of a unit names
the ward's other units that fall too and show the same sign: a warm room, a low supply, a wet sieve. A sign that only
one unit shows is its own matter. Pure: a look at the units as they are; nothing is remembered.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import msgspec

from collector.rules.causes import SUPPLY_LOW, SUPPLY_OFF
from collector.rules.events import CLEARED, Event
from collector.rules.hours import is_on
from collector.rules.limits import Limits
from collector.rules.memory import Tracked
from collector.rules.sags import POOR

HEAT: Final = "heat"
SUPPLY: Final = "supply"
SIEVE_WET: Final = "sieve-wet"

#: So many units must be known before what they have in common is the room's.
FEWEST: Final = 3

#: Conditions that say that a unit's output falls.
FALLING: Final = ("shutdown-expected", "purity-shutdown", "purity-red", "purity-amber", "capacity-falling")
_WORDS: Final = {
    HEAT: "the cabinets of {} are warm too, as are the ward's others: heat of the room",
    SUPPLY: "the supply of {} is low too",
    SIEVE_WET: "the sieve of {} looks wet too: humidity, or water in the intake",
}


def tell_shared(events: list[Event], unit: Tracked, ward: Sequence[Tracked], limits: Limits) -> None:
    """Add to what was found of a unit, in place, with whom of its ward (`together_with`) it shares what (`shared`)."""
    for place, event in enumerate(events):
        if event.unit == unit.id and event.condition in FALLING and event.event != CLEARED:
            events[place] = _with_others(event, unit, ward, limits)


def _with_others(event: Event, unit: Tracked, ward: Sequence[Tracked], limits: Limits) -> Event:
    others = [u for u in ward if u is not unit and _falls_too(u, event.time_ms, limits)]
    if not others:
        return event
    own = _signs(unit, event.cause, ward, limits)
    for sign in own:
        names = sorted(u.id for u in others if sign in _signs(u, _cause(u), ward, limits))
        if names:
            why = event.evidence.get("why")
            said = [*(why if isinstance(why, list) else []), _WORDS[sign].format(", ".join(names))]
            evidence = event.evidence | {"shared": sign, "together_with": names, "why": said}
            return msgspec.structs.replace(event, evidence=evidence)
    return event


def _falls_too(unit: Tracked, time_ms: int, limits: Limits) -> bool:
    """Whether it was told of before this moment and lately; one of the same moment would depend on who came first."""
    watches = unit.memory.watches
    moments = [watches[name].raised_ms for name in FALLING if name in watches]
    return any(at_ms is not None and 0 < time_ms - at_ms <= limits.together_ms for at_ms in moments)


def _cause(unit: Tracked) -> str:
    causes = (unit.memory.watches[name].cause for name in FALLING if name in unit.memory.watches)
    return next((cause for cause in causes if cause != "unknown"), "unknown")


def _signs(unit: Tracked, cause: str, ward: Sequence[Tracked], limits: Limits) -> list[str]:
    """The signs of a unit that others may share, the plainest first."""
    memory, found = unit.memory, []
    if cause == SUPPLY_LOW or unit.belief.signs.volts_off < SUPPLY_OFF or POOR in memory.shared:
        found.append(SUPPLY)
    if _is_known(unit) and unit.belief.signs.warm_k > limits.hot_k and room_warmth_k(ward) > limits.hot_k / 2:
        found.append(HEAT)
    if cause == SIEVE_WET:
        found.append(SIEVE_WET)
    return found


def room_warmth_k(ward: Sequence[Tracked]) -> float:
    """By how much a ward's running units are warmer than their normal, all but a quarter of them: K, never under 0.

    Clogged intakes warm some cabinets, a hot room warms all of them. Of fewer than three units nobody can tell.
    """
    known = sorted(u.belief.signs.warm_k for u in ward if is_on(u.row.phase) and _is_known(u))
    return max(known[len(known) // 4], 0.0) if len(known) >= FEWEST else 0.0


def _is_known(unit: Tracked) -> bool:
    signs = unit.belief.signs
    return signs.learned and signs.temp.n > 0
