"""Why something of upkeep is not written down: plain, with the way out, ready to be translated."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

FAULT_FIRST: Final = "Write which fault was found; write “none” when there was none."
ACTION_FIRST: Final = "Write what was done."
CHECK_FOR_ITSELF: Final = (
    "This task is the check of purity: write the check down, with its analyser and what it showed."
)
WHEN: Final = "Write the day as 2026-10-05."
NOTHING_PLANNED: Final = "Choose the tasks of this visit."
NO_MOVE: Final = "Write how many pieces came (above 0) or went (below 0)."


def not_theirs(what: str, roles: Collection[str]) -> str:
    """Said to a role that may not do this."""
    listed = sorted(roles)
    others = f"{', '.join(listed[:-1])} or {listed[-1]}" if len(listed) > 1 else listed[0]
    return f"{what} is for: {others}. Ask one of them, or choose your role."


def no_such(what: str, name: str) -> str:
    """Said of an id that the site file does not have."""
    return f"There is no {what} '{name}' in the site file. Choose one, or add it there."


def no_number(what: str, least: str, most: str) -> str:
    """Said of a number that cannot be right."""
    return f"{what} must be a number from {least} to {most}."


def work_closed(work: str) -> str:
    """Said of an order that is not open any more."""
    return f"Work order {work} is closed already. Open a new one."


def other_unit(work: str, unit: str) -> str:
    """Said when an order belongs to another unit."""
    return f"Work order {work} is of {unit}. Choose one of this unit, or none."
