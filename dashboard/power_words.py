"""Every text of the screen of power quality; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Power quality"
SPAN: Final = "Span"
SPANS: Final = {1: "A day", 7: "7 days", 30: "30 days", 91: "3 months"}
COLUMNS: Final = ("Ward", "Losses", "Without supply", "Sags", "Swells", "Ten-minute means within 10 %", "Worst time",
                  "Measured, unit-hours")  # fmt: skip
WORST: Final = "Worst hours"
WORST_COLUMNS: Final = ("Ward", "Hour", "Minutes outside", "Lowest, V", "Highest, V")
NOTHING: Final = "No supply voltage is on record in this span. It needs a sensor that measures it (`volts`)."
CAPTION: Final = (
    "Sag: under 0.9 of nominal at a unit of the ward; swell: over 1.1; without supply: under half. Losses are the "
    "alarms of lost supply. Readings come every few seconds, so what is shorter is not seen. Voltages are counted up "
    "to the last full hour. EN 50160 asks for 95 % of a week's means over ten minutes within 10 %."
)


def loss(times: int, minutes: str, longest: str) -> str:
    """How often and how long there was no supply."""
    return f"{minutes} min, the longest {longest} min" if times else ""


def stretch(minutes: int, longest: int, volts: str) -> str:
    """How long sags or swells lasted, and how far they went."""
    return f"{minutes} min, the longest {longest} min, to {volts} V"


def minutes_of(minutes: int) -> str:
    """A number of minutes."""
    return f"{minutes} min"


def clock_hours(first: int, last: int) -> str:
    """The hour of the day with most minutes outside."""
    return f"{first:02}:00 to {last:02}:00"


def left_out(hours: int) -> str:
    """What was not looked at."""
    return f"{hours} of the oldest unit-hours with a sag or swell are not counted: choose a shorter span."
