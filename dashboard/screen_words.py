"""Headings and labels of screens that belong to no other module of words; ready to be translated."""

from __future__ import annotations

from typing import Final

# -- about ------------------------------------------------------------------------------------------------------------
CAUTIONS: Final = "Cautions"
WATCHES: Final = "What it watches"
WATCHES_NOT: Final = "What it does not"
LIMITS: Final = "Limits in force"
LIMIT_SOURCES: Final = "Where limits come from"
LANGUAGES: Final = "Language"
LANGUAGE_HOW: Final = (
    "A choice is kept on this device. Without one the browser's language counts, then that of the site file."
)

# -- alarms -----------------------------------------------------------------------------------------------------------
SO_FAR: Final = "So far"

# -- data -------------------------------------------------------------------------------------------------------------
STORE: Final = "Store"
KEPT_ASIDE: Final = "Could not be read: kept aside"
JOURNAL: Final = "Journal"
WHAT: Final = "What"
ANYTHING: Final = "anything"
BACK: Final = "Back"
ALL_UNITS: Final = "all units"
HOW_DATA_COME: Final = (
    "How bridges, the collector and what carries outwards stand is on the page “Sensors and bridges”."
)
BACK_DAYS: Final = {1: "1 day", 7: "7 days", 30: "30 days", 366: "a year", 36_600: "to the beginning"}


def copies_and_way(copies: str) -> str:
    """The heading over safe copies and the last test of the alarm's way."""
    return f"{copies}, and the alarm's way"


def rows_shown(count: int, *, more: bool) -> str:
    """How many rows of the journal are listed."""
    return f"{count} rows, newest first, the newest are shown" if more else f"{count} rows, newest first"


# -- tiles ------------------------------------------------------------------------------------------------------------
ALL_WARDS: Final = "All wards"


def since(when: str) -> str:
    """Since when an alarm stands."""
    return f"since {when}"
