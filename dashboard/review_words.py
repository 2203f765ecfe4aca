"""Every text of the alarm analysis; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Alarm analysis"
SPAN: Final = "Span"
SPANS: Final = {1: "A day", 7: "7 days", 30: "30 days", 91: "3 months", 365: "A year"}
TOLD_TO: Final = "Told to"
AUDIENCES: Final = {"ward": "the ward", "engineer": "the engineer", "planner": "the planner"}
LOADS: Final = "By ward"
FREQUENT: Final = "Most frequent"
STALE: Final = "Stood longer than a day"
ANSWERS: Final = "Until somebody acknowledged"
FREQUENT_COLUMNS: Final = ("Alarm", "Unit", "Ward", "Times", "Of all", "Stood", "Last", "Chattering")
STALE_COLUMNS: Final = ("Alarm", "Unit", "Ward", "Since", "Stood", "State")
ANSWER_COLUMNS: Final = ("Ward", "Shift", "Acknowledged", "Half within, min", "Nine in ten within, min", "Never")
SHIFTS: Final = {"early": "06:00 to 14:00", "late": "14:00 to 22:00", "night": "22:00 to 06:00"}
CHATTERING: Final = "three in a minute"
STANDS: Final = "still there"
GONE: Final = "gone"
WHOLE_WARD: Final = "whole ward"
NO_ALARMS: Final = "No alarm was told in this span."
NOTES: Final = {
    LOADS: "Targets after EEMUA 191: one in ten minutes on average, over ten in ten minutes is a flood, a day is "
           "stale, three in a minute is chattering. They are meant for control rooms: a ward has other work.",
    FREQUENT: "A few alarms often make most of the load: look at their cause, limit or delay first.",
    STALE: "An alarm that stands for days is no longer heard. Repair the unit, take it out of service, or put the "
           "alarm aside with an end.",
    ANSWERS: "From raised to acknowledged here; somebody may have acted without a tap. By the hour at which it was "
             "raised. Never: not acknowledged before it came again, or not yet.",
}  # fmt: skip


def figures_of(alarms: int, start: str, end: str) -> str:
    """What the figures are of."""
    return f"{alarms} alarms from {start} to {end}."
