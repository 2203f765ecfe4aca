"""Every text of the list of all units; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Units"
COLUMNS: Final = ("Unit", "Why", "Ward", "Model", "Purity, %", "Flow, L/min", "Read")
#: Shares of 100 of the columns, so that both lists have them above each other.
WIDTHS: Final = (14, 40, 14, 10, 8, 8, 6)
MODEL: Final = "Model"
ALL_MODELS: Final = "all models"
FIND: Final = "Find"
FIND_PLACEHOLDER: Final = "unit, serial number, or a word of the reason"
ATTENTION: Final = "Needs attention"
THIS_WEEK: Final = "Due this week"
QUIET: Final = "Nothing to do"
NOTHING: Final = "No unit needs attention."
NOT_FOUND: Final = "No unit fits what was chosen."
CAPTION: Final = (
    "The most urgent reason stands first: alarms by priority, units without data, a check that is missing, what is "
    "foreseen, capacity under rated, alarms put aside or gone, what is overdue, flow not proven."
)
OUT: Final = "out of service"


def check_missing(why: str) -> str:
    """A unit whose output is in doubt until it has been checked."""
    return f"check before use: {why}"


def foreseen(limit: str, when: str) -> str:
    """A limit that will be reached at the flow in use."""
    return f"{limit} {when}"


def overdue(task: str, others: int) -> str:
    """What is overdue on a unit."""
    return f"overdue: {task} and {others} more" if others else f"overdue: {task}"


def soon(task: str) -> str:
    """What is due within a week."""
    return f"due this week: {task}"


def counts(shown: int, units: int) -> str:
    """How many units are listed, of how many."""
    return f"{shown} of {units} units"
