"""Every text of the plan of visits; plain and short, ready to be translated."""

from __future__ import annotations

from datetime import date
from typing import Final

from collector.tongue import plural
from dashboard import service_words

AHEAD: Final = "Plan for"
WEEKS_AHEAD: Final = (1, 4, 8, 12)
LATE: Final = "After their due date"
UNPLANNED: Final = "Without a day"
TRIPS: Final = "Trips to wards"
BEST: Final = "From the best"
BEST_FOUND: Final = "0 %"
NO_VISITS: Final = "No visit is needed in these weeks."
NOT_PLANNED: Final = "not in these weeks"
WAITING: Final = "What has to wait"
PRINT: Final = "Week lists to print"
CALENDAR: Final = "Visits as a calendar (iCalendar)"
SET_VISIT: Final = "Lock, move, cancel or finish a visit"
VISIT: Final = "Visit"
NEW_DAY: Final = "New day, where it is moved"
VISIT_STATES: Final = {"planned": "planned", "locked": "locked", "moved": "moved", "cancelled": "cancelled",
                       "done": "done"}  # fmt: skip
SET_STATES: Final = {"locked": "lock it on its day", "moved": "move it", "cancelled": "cancel it", "done": "it is done"}
VISIT_COLUMNS: Final = ("When", "Unit", "Ward", "Tasks", "Takes", "Unit out for", "State")
VISIT_WIDTHS: Final = (14, 9, 15, 32, 10, 11, 9)
WAITING_WIDTHS: Final = (10, 14, 22, 10, 12, 32)
WAITING_COLUMNS: Final = ("Unit", "Ward", "Task", "Due", "Planned", "Because")
PLAN_CAPTION: Final = (
    "In brackets: visiting in the plain order of due dates. From the best: how far this plan may be from the "
    "best one. A unit is taken out only where its ward can spare it, one of a ward at a time, outside quiet hours, "
    "within technicians' hours and parts in stock. Times are proposals."
)


def visit_when(day: date, start_min: int | None) -> str:
    """A visit's day and proposed time."""
    at = "" if start_min is None else f" {start_min // 60:02}:{start_min % 60:02}"
    return f"{service_words.WEEKDAYS[day.weekday()]} {day.day} {service_words.MONTHS[day.month - 1]}{at}"


def day_of(day: date) -> str:
    """A day with its weekday."""
    return visit_when(day, None)


def week_of(monday: date) -> str:
    """A week, by its Monday."""
    return f"Week of {day_of(monday)}"


def weeks_text(weeks: int) -> str:
    """So many weeks."""
    return plural("{count} week", "{count} weeks", weeks)


def from_cylinders(litres: float) -> str:
    """What cylinders give while a unit is out."""
    return f"{litres:.0f} L from cylinders" if litres else ""


def against(mine: int, plain: int) -> str:
    """A figure of the plan beside that of the plain order."""
    return f"{mine} ({plain})"


def gap(share: float) -> str:
    """How far the plan may be from the best one."""
    return f"within {100 * share:.1f} %"
