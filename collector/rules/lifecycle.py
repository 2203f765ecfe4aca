"""The life of an alarm as one table, after ISA-18.2 / IEC 62682.

Rules of this file: every transition there is stands in TRANSITIONS; a pair that is not listed changes nothing and says
so. Shelved, suppressed and out-of-service alarms go on being evaluated (OPC UA Part 9), so each state also carries
whether the condition is there (`Alarm.active`), and leaving one of the three lands where that says.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final


class State(StrEnum):
    """Where an alarm stands."""

    NORMAL = "normal"  #: the condition is not there and nobody has anything left to acknowledge
    UNACKNOWLEDGED = "unacknowledged"  #: the condition is there and nobody has said that they know
    ACKNOWLEDGED = "acknowledged"  #: the condition is there and somebody knows
    RETURNED = "returned-unacknowledged"  #: it went away before anybody acknowledged
    SHELVED = "shelved"  #: put aside by a person until a stated time
    SUPPRESSED = "suppressed"  #: held back by design: warm-up, a ward outage that says it for all
    OUT_OF_SERVICE = "out-of-service"  #: taken out by maintenance


class Step(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove"
    RESTORE = "restore"


_S, _E = State, Step

#: (state, step) -> state. Leaving SHELVED, SUPPRESSED or OUT_OF_SERVICE is listed for an alarm whose condition is gone;
#: RESUMED says where the same step leads while the condition is there.
TRANSITIONS: Final[dict[tuple[State, Step], State]] = {
    (_S.NORMAL, _E.RAISE): _S.UNACKNOWLEDGED,
    (_S.NORMAL, _E.SHELVE): _S.SHELVED,
    (_S.NORMAL, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.NORMAL, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.UNACKNOWLEDGED, _E.ACKNOWLEDGE): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _E.CLEAR): _S.RETURNED,
    (_S.UNACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.UNACKNOWLEDGED, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.UNACKNOWLEDGED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.ACKNOWLEDGED, _E.CLEAR): _S.NORMAL,
    (
        _S.ACKNOWLEDGED,
        _E.RAISE,
    ): _S.UNACKNOWLEDGED,  # raised again at a higher priority: people must hear it anew
    (_S.ACKNOWLEDGED, _E.SHELVE): _S.SHELVED,
    (_S.ACKNOWLEDGED, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.ACKNOWLEDGED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.RETURNED, _E.ACKNOWLEDGE): _S.NORMAL,
    (_S.RETURNED, _E.RAISE): _S.UNACKNOWLEDGED,
    (_S.RETURNED, _E.SHELVE): _S.SHELVED,
    (_S.RETURNED, _E.SUPPRESS): _S.SUPPRESSED,
    (_S.RETURNED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.SHELVED, _E.UNSHELVE): _S.NORMAL,
    (_S.SHELVED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.SUPPRESSED, _E.UNSUPPRESS): _S.NORMAL,
    (_S.SUPPRESSED, _E.REMOVE): _S.OUT_OF_SERVICE,
    (_S.OUT_OF_SERVICE, _E.RESTORE): _S.NORMAL,
}

RESUMED: Final[dict[tuple[State, Step], State]] = {
    (_S.SHELVED, _E.UNSHELVE): _S.UNACKNOWLEDGED,
    (_S.SUPPRESSED, _E.UNSUPPRESS): _S.UNACKNOWLEDGED,
    (_S.OUT_OF_SERVICE, _E.RESTORE): _S.UNACKNOWLEDGED,
}

#: States in which a ward screen shows nothing and makes no sound, though the alarm stays listed.
HELD: Final = frozenset({State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE})


def next_state(state: State, step: Step, *, active: bool) -> State | None:
    """Where `step` leads from `state`, or None when it is refused; `active` says whether the condition is there."""
    if active and (state, step) in RESUMED:
        return RESUMED[state, step]
    return TRANSITIONS.get((state, step))


def diagram() -> str:
    """The table as a Mermaid state diagram, for DEVELOPERS.md."""
    lines = ["stateDiagram-v2"]
    names = {state: state.value.replace("-", "_") for state in State}
    rows = [(*pair, to, "") for pair, to in TRANSITIONS.items()]
    rows += [(*pair, to, " (condition there)") for pair, to in RESUMED.items()]
    lines += [f"    {names[s]} --> {names[to]}: {step.value}{note}" for s, step, to, note in rows]
    return "\n".join(lines)
