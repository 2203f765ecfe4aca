"""Every text of the screens of upkeep; plain and short, ready to be translated."""

from __future__ import annotations

from datetime import date
from typing import Final

from collector.tongue import plural

# -- where things are -------------------------------------------------------------------------------------------------
UPKEEP: Final = "Upkeep"
RECORDS: Final = "Records"
BACKUP: Final = "Backup oxygen"
DUE: Final = "Due"
VISITS: Final = "Visits"
PARTS: Final = "Parts"
WORK: Final = "Work orders"
FLEET: Final = "Fleet figures"
LABELS: Final = "Labels"

# -- who acts ---------------------------------------------------------------------------------------------------------
WHO: Final = "Who"
WHO_PLACEHOLDER: Final = "Choose, or write your name"
ROLE: Final = "Your role"

# -- choices ----------------------------------------------------------------------------------------------------------
WARD: Final = "Ward"
ALL_WARDS: Final = "all wards"
NONE: Final = "None."

# -- a task on a unit's page ------------------------------------------------------------------------------------------
RECORD_TASK: Final = "Record a task"
TASK: Final = "Which task"
TASK_DONE: Final = "Done"
OTHERWISE: Final = "Otherwise …"
RECORD: Final = "Write down"
OUTCOME: Final = "What came of it"
OUTCOMES: Final = {"done": "done", "could-not-locate": "unit not found", "put-off": "put off"}
METER: Final = "Hour meter, h"
NOTE: Final = "Note (a reason where it was put off)"
NO_TASK_FOR_ROLE: Final = "Choose who you are; tasks of this unit are listed for the roles that do them."


def pieces_of(part: str) -> str:
    """Label of a number of pieces."""
    return f"Pieces of {part}"


def due_task(title: str, overdue: bool) -> str:
    """A task, as a choice."""
    return f"! {title} (overdue)" if overdue else title


def usual_text(parts: list[str], minutes: float | None, meter_h: float | None) -> str:
    """What “Done” writes down beside the task."""
    said = [*parts, f"{minutes:g} min" if minutes else "", f"hour meter {meter_h:.0f} h" if meter_h is not None else ""]
    listed = ", ".join(text for text in said if text)
    return f"Writes down: {listed}." if listed else "Writes down the task alone."


# -- a check of purity ------------------------------------------------------------------------------------------------
ANALYSER: Final = "Reference analyser"
AS_FOUND_IN: Final = "Purity as found, %"
AS_LEFT_IN: Final = "Purity as left, %"
FLOW_IN: Final = "Flow, L/min"
WHERE_IT_RAN: Final = "if it ran"
WRITE_CHECK: Final = "Write the check down"
CHECK_WRITTEN: Final = "check written down"
NO_ANALYSER: Final = "The site file names no reference analyser ([[analyser]]), so no check can be written down."


def check_how(rated: str, limit: str) -> str:
    """How a check is made, and what it must reach."""
    return (
        f"At the rated flow of {rated} L/min, after 30 minutes of running. It passes when purity as left, less the "
        f"analyser's uncertainty, is {limit} % or more."
    )


def day_text(day: date) -> str:
    """A day with its year."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def until(title: str, day: date | None) -> str:
    """An analyser and how long its calibration holds."""
    return f"{title} (calibrated until {day_text(day)})" if day else title


def not_usable(why: str) -> str:
    """Why an analyser may not be used."""
    return f"not to be used: {why}"


# -- work orders ------------------------------------------------------------------------------------------------------
OPEN_ORDERS: Final = "Open"
CLOSED_ORDERS: Final = "Closed"
CHECKS_DUE: Final = "Checks due after work"
ANALYSERS: Final = "Reference analysers"
ORDER_COLUMNS: Final = ("Order", "Unit", "Ward", "Why", "State", "Check")
CHECK_COLUMNS: Final = ("Unit", "Ward", "Why", "Since", "State")
ANALYSER_COLUMNS: Final = ("Analyser", "Calibrated", "Until", "State")
OPEN_ORDER: Final = "Open a work order"
ORDER_OPENED: Final = "work order opened"
ORDER: Final = "Order"
FROM_ALARM: Final = "From an alarm"
NO_ALARM: Final = "none: for another reason"
UNIT: Final = "Unit"
OPENED: Final = "Opened"
WHY: Final = "Why"
FAULT_FOUND: Final = "Fault found"
CAUSE: Final = "Cause"
ACTION: Final = "What was done"
MINUTES: Final = "Minutes of work"
PARTS_USED: Final = "Parts used"
AS_FOUND: Final = "As found"
AS_LEFT: Final = "As left"
CHECK: Final = "Check of purity"
NOT_CHECKED: Final = "not checked"
CLOSE_ORDER: Final = "Close the order"
ORDER_CLOSED: Final = "closed"
RETURN: Final = "Return to service"
RETURNED: Final = "returned to service"
MAY_RETURN: Final = "It has passed its check: it may return."
IN_SERVICE: Final = "in service"
OUT_OF_SERVICE: Final = "out of service"
USABLE: Final = "may be used"


def may_not_return(why: str, way_out: str) -> str:
    """What keeps a unit out of service."""
    return f"It stays out of service: {why}. {way_out}"


def closed_name(name: str) -> str:
    """A closed order, as a choice."""
    return f"{name} (closed)"


def open_for(age: str) -> str:
    """State of an open order."""
    return f"open for {age}"


def closed_on(when: str) -> str:
    """State of a closed order."""
    return f"closed {when}"


def checked(passed: bool, left: str) -> str:
    """A check in a few words."""
    return f"{'passed' if passed else 'FAILED'}: {left} %"


# -- parts ------------------------------------------------------------------------------------------------------------
NO_PARTS: Final = "The site file names no parts yet. Add [[part]] entries to it and start the collector again."
TO_ORDER: Final = "To order this month"
AT_ONCE: Final = "Of them at once"
COST: Final = "Cost"
STOCK: Final = "Stock and order"
PART_COLUMNS: Final = ("Part", "In stock", "On its way", "Needed", "Order at", "Order", "Cost", "Lasts")
PARTS_CAPTION: Final = (
    "Needed: pieces over the lead time and a month, for tasks that fall due and for failures. Order at: the stock at "
    "which an order cannot wait for the month's end. Lasts: the chance that what there is and what is on its way lasts "
    "until next month's order would come, and the chance that is wanted."
)
COUNT_SHELF: Final = "more was used than was ever counted: count the shelf"
MOVE_PARTS: Final = "Parts that came or went"
MOVE_CAPTION: Final = "Parts used in a task or a work order are counted there: do not write them here again."
PART: Final = "Part"
WHAT: Final = "What"
MOVES: Final = {"ordered": "ordered", "received": "received", "found": "found when counting", "gone": "gone"}
PIECES: Final = "Pieces"
MOVE_WHY: Final = "Why (where they were found or are gone)"


def parts_count(count: int) -> str:
    """How many parts are to be ordered."""
    return plural("{count} part", "{count} parts", count) if count else "nothing"


def lost_order(pieces: int) -> str:
    """Said of pieces that were ordered so long ago that nobody should wait for them."""
    return f"{pieces} ordered long ago, not counted on" if pieces else ""


def made_of(planned: float, failures: float) -> str:
    """What a need is made of."""
    return f"{planned:.1f} for tasks, {failures:.1f} for failures"


def order_at_once(pieces: int) -> str:
    """An order that cannot wait."""
    return f"{pieces} at once"


def lasts(chance: float, wanted: float) -> str:
    """How likely the stock lasts, and how likely it should."""
    return f"{100 * chance:.0f} %, wanted {100 * wanted:.0f} %"


def unknown_parts(names: tuple[str, ...]) -> str:
    """Parts that are used and not in the site file."""
    return f"No [[part]] in the site file for: {', '.join(names)}. Nothing can be said about those."


# -- what is due ------------------------------------------------------------------------------------------------------
WHOSE: Final = "Whose work"
BY: Final = {"": "everybody's", "ward": "the ward's", "engineer": "the engineer's"}
SHOW_AS: Final = "Show as"
VIEWS: Final = {"list": "List", "month": "Month"}
MONTH: Final = "Month"
OVERDUE: Final = "Overdue"
THIS_WEEK: Final = "Within a week"
FOUR_WEEKS: Final = "Within four weeks"
LATER: Final = "Later"
NEVER_DONE: Final = "not on record"
DUE_COLUMNS: Final = ("Unit", "Task", "Due", "Ward", "Because of", "Last done", "Tried")
DUE_WIDTHS: Final = (10, 29, 15, 15, 11, 11, 9)
WHY_DUE: Final = {"hours": "run hours", "calendar": "calendar", "idle": "standing idle"}
DUE_CAPTION: Final = (
    "By run hours the day is a forecast from the unit's own use; the range is nine chances in ten. The unit's manual "
    "overrides every interval: write its tasks into the site file."
)
MONTH_CAPTION: Final = "What is overdue stands in today. By run hours the day is the most likely one."


def late_by(age: str) -> str:
    """How long something is overdue."""
    return f"{age} overdue"


def range_of(first: str, last: str) -> str:
    """Between which days a forecast lies; "" for no end."""
    return f"{first} to {last}" if last else f"{first} or later"


def times(count: int, what: str) -> str:
    """How often something happened; nothing for never."""
    return f"{count} × {what}" if count else ""


def counted(name: str, count: int) -> str:
    """A heading and how many there are."""
    return f"{name}: {count}" if count else name


def month_name(today: date, ahead: int) -> str:
    """A month so many after this one; with the year where a year begins."""
    year, month = divmod(today.year * 12 + today.month - 1 + ahead, 12)
    return f"{MONTHS[month]}{f' {year}' if month == 0 or ahead == 0 else ''}"


# -- calendar ---------------------------------------------------------------------------------------------------------
MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def and_more(count: int) -> str:
    """So many more than are shown."""
    return f"and {count} more"


# -- labels -----------------------------------------------------------------------------------------------------------
LABELS_TITLE: Final = "Labels of units"
LABEL_SCAN: Final = "Scan: record a task"
LABEL_SIMULATED: Final = "SIMULATED: no real unit"


def serial(number: str) -> str:
    """A unit's serial number, on its label."""
    return f"Serial {number}"


LABEL_ADDRESS: Final = "Address of this dashboard as phones reach it"
LABEL_ADDRESS_HELP: Final = "Printed into every code: a name or address that will stay the same for years."
LABEL_ADDRESS_WRONG: Final = "Write an address that begins with http:// or https://."
LABEL_ADDRESS_OWN: Final = (
    "This address is of this machine alone: a phone cannot open it. "
    "Write the one that phones use, or open this page by it."
)
LABELS_DOWNLOAD: Final = "Labels as PDF"


def labels_count(units: int, pages: int) -> str:
    """How much will be printed, on which paper."""
    labels = plural("{count} label", "{count} labels", units)
    paper = plural("{count} page of A4", "{count} pages of A4", pages)
    return f"{labels} on {paper}, 63.5 mm by 38.1 mm each. Print at full size."


def label_example(url: str) -> str:
    """What a code says."""
    return f"The first code opens {url}"
