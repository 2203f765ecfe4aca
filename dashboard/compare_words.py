"""Every text of the screen that compares units; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Compare"
CHOOSE: Final = "Units to compare"
HELP: Final = "Two to six units."
SPAN: Final = "Span"
SPANS: Final = {"hour": "Hour", "day": "Day", "week": "Week", "month": "Month", "year": "Year"}
TOO_FEW: Final = "Choose two units or more."
NOTHING: Final = "No readings of these units in this span."
TITLES: Final = {"purity_pct": "Purity, %", "flow_lpm": "Flow, L/min", "power_w": "Power, W",
                 "capacity": "Capacity, L/min"}  # fmt: skip
VALUES: Final = "The same in numbers"
COLUMNS: Final = ("Unit", "Purity, %", "Flow, L/min", "Power, W", "Capacity, L/min", "Alarms now")
CAPTION: Final = (
    "Means; in the table the least and the greatest below them. A line breaks where nothing was measured. Purity at "
    "different flows cannot be compared: compare capacity."
)


def between(low: str, high: str) -> str:
    """The least and the greatest of a span."""
    return f"{low} to {high}"


def over_span(title: str) -> str:
    """What a chart shows, for who cannot see it."""
    return f"{title} of the chosen units; the table below says the same"
