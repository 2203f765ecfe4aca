"""Words of what is done to a unit from its page, of adding one, and of taking it back."""

from __future__ import annotations

from typing import Final

#: What can be done, by its name in `doing.py`.
DO: Final = "What to do with this unit"
DOINGS: Final = {
    "acknowledge": "Acknowledge", "shelve": "Put aside", "move": "Move", "swap": "Swap", "take-out": "Take out",
    "gauge": "Read a gauge",
}  # fmt: skip
NOT_YOURS: Final = "Your role may not do this. Ask somebody whose role may."

# -- forms ------------------------------------------------------------------------------------------------------------
TO: Final = "To which ward"
NO_WARD: Final = "no ward"
TO_FIRST: Final = "Choose where it goes."
NO_OTHER_WARD: Final = "There is no other ward that you may move it to."
WHY_MAYBE: Final = "Why (may be left empty)"
MOVE: Final = "Move it"
WITH: Final = "With which unit; spares that are proven good come first"
WITH_FIRST: Final = "Choose the other unit."
NO_OTHER_UNIT: Final = "There is no unit in another ward that you may swap it with."
SWAP: Final = "Swap them"
ALSO_OUT: Final = "And take it out of service, for repair"
TAKE_OUT: Final = "Take it out of service"
OUT_WHY: Final = "Why"
OUT_FOR: Final = "Taken out for"
WHICH_ALARM: Final = "Which alarm"
STAYS: Final = (
    "An acknowledgement is not taken back: others have been told that somebody knows, and may have turned to something "
    "else. The alarm speaks again if it gets worse."
)
MOVED_HOW: Final = "Its alarms, its hours and its record go along."


def acknowledges(title: str) -> str:
    """A button."""
    return f"Acknowledge: {title}"


def acknowledged(title: str, unit: str) -> str:
    """What happened."""
    return f"“{title}” of {unit} acknowledged"


def spare_here(unit: str, flow: str) -> str:
    """A spare that need not be fetched."""
    return f"In this ward stands {unit}, a spare proven good to {flow} L/min: nothing has to be moved for it."


def spare(unit: str, ward: str, flow: str, when: str) -> str:
    """A unit to swap with: nobody uses it, and it was lately seen to hold that flow."""
    return f"{unit} · {ward} · spare, good to {flow} L/min, proven {when}"


def spare_short(unit: str, ward: str, flow: str) -> str:
    """A spare that does not hold what the other unit gives."""
    return f"{unit} · {ward} · spare, good to {flow} L/min only"


def other(unit: str, ward: str) -> str:
    """A unit to swap with, of which nothing good is known lately."""
    return f"{unit} · {ward} · not proven as a spare"


def other_out(unit: str, ward: str) -> str:
    """A unit to swap with that is not to be used."""
    return f"{unit} · {ward} · out of service"


# -- what was done lately ---------------------------------------------------------------------------------------------
UNDO: Final = "Undo"
WAITS: Final = "Waiting: the collector has not answered yet."
WAITS_LONG: Final = "Waiting until the collector runs: nothing is lost."
MADE: Final = "Done."
UNDONE: Final = "Taken back."
TOO_LATE: Final = "It cannot be taken back any more: too long ago, or something has happened since. Look again."


def moves(unit: str, before: str, after: str) -> str:
    """A move, done or asked for."""
    return f"{unit} from {before} to {after}"


def swaps(unit: str, after: str, other: str, other_after: str) -> str:
    """A swap, done or asked for."""
    return f"{unit} to {after} and {other} to {other_after}"


def adds(unit: str) -> str:
    """A new unit."""
    return f"New unit {unit}"


def removes(unit: str) -> str:
    """A unit that was never heard is taken back."""
    return f"Unit {unit} out of the site file"


def taken_out(unit: str) -> str:
    """Out of service."""
    return f"{unit} taken out of service"


def put_aside(title: str, unit: str, until: str) -> str:
    """An alarm put aside."""
    return f"“{title}” of {unit} put aside until {until}"


def by(what: str, who: str, when: str, row: int) -> str:
    """What was done, and who did it."""
    return f"{what} by {who} at {when}: row {row}"


def refused(said: str) -> str:
    """The collector did not make a change."""
    return f"Not done: {said}"


# -- adding -----------------------------------------------------------------------------------------------------------
ADD_UNIT: Final = "Add a unit"
ADD_HOW: Final = "It is written into the site file and watched from its first reading on."
