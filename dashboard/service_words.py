"""Every text of the screens of upkeep; plain and short, ready to be translated."""

from __future__ import annotations

from typing import Final

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

# -- calendar ---------------------------------------------------------------------------------------------------------
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
    return (
        f"{units} label{'s' * (units != 1)} on {pages} page{'s' * (pages != 1)} of A4, 63.5 mm by 38.1 mm each. "
        "Print at full size."
    )


def label_example(url: str) -> str:
    """What a code says."""
    return f"The first code opens {url}"
