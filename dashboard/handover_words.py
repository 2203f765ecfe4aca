"""Every text of the note for the next shift; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Handover"
SPAN: Final = "The shift"
SPANS: Final = {8: "last 8 h", 12: "last 12 h", 24: "last 24 h"}
STANDS: Final = "Stands now"
ASIDE: Final = "Put aside or out of service"
HAPPENED: Final = "What happened"
DONE: Final = "What people did and noted"
DUE: Final = "Due next"
BACKUP: Final = "Backup oxygen"
WATCH: Final = "How far this can be trusted"
NOTHING: Final = "Nothing."
LIVE: Final = "The collector is heard and readings come in."
NOT_ACKNOWLEDGED: Final = "not acknowledged"
WHOLE_WARD: Final = "whole ward"
OWN: Final = "What else the next shift should know"
OWN_HELP: Final = "About machines and supply. No names of patients: the journal keeps it for ever."
KEEP: Final = "Hand over: write it into the journal"
PRINT: Final = "Print"
COPY: Final = "As text, to copy"
KEPT: Final = "handover written down"
EARLIER: Final = "Earlier notes"
CUT: Final = "More was written in this shift than fits: the oldest is left out. Look into the journal for it."
HOW: Final = (
    "Made from the journal; what nobody wrote down is not in it. It does not replace the handover at the bedside."
)


def title(hospital: str, ward: str, first: str, last: str) -> str:
    """Stands above the note."""
    return f"Handover, {hospital}, {ward}: {first} to {last}"


def since(when: str) -> str:
    """Since when something stands."""
    return f"since {when}"


def stands_since(when: str) -> str:
    """Since when something is there that is still there."""
    return f"Since {when}"


def until(when: str) -> str:
    """Until when something is put aside."""
    return f"until {when}"


def lasted(first: str, last: str) -> str:
    """From when to when something was."""
    return f"{first} to {last}"


def acknowledged(who: str) -> str:
    """Who has acknowledged an alarm."""
    return f"acknowledged by {who}"


def more(count: int) -> str:
    """Lines that are left out."""
    return f"and {count} more: see the alarms and the journal"


def overdue(age: str) -> str:
    """How late a task is."""
    return f"{age} overdue"


def kept_by(who: str, role: str, when: str) -> str:
    """Whose note it was."""
    return f"{when}, {who} ({role})"
