"""Every text of the screen of backup oxygen; plain and short, ready to be translated."""

from __future__ import annotations

from typing import Final

# -- entering a reading -----------------------------------------------------------------------------------------------
READ_GAUGE: Final = "Enter a cylinder's reading"
NO_CYLINDERS: Final = "No cylinder is listed here: add [[cylinder]] to the site file."
CYLINDER: Final = "Cylinder"
GAUGE_UNIT: Final = "The gauge is in"
SHOWS: Final = "It shows"
SHOWS_FIRST: Final = "Write what the gauge shows."
WRITE: Final = "Write it down"


def gauge_written(cylinder: str, shown: str) -> str:
    """Said when a reading was written down."""
    return f"{cylinder}: {shown}, written down"


# -- a ward's backup --------------------------------------------------------------------------------------------------
NO_BACKUP: Final = "Nothing is known of a backup here yet: no cylinder is listed, or the collector has not judged it."
CYLINDER_COLUMNS: Final = ("Cylinder", "Place", "Gauge", "Read", "State", "Counted on for")
CYLINDER_WIDTHS: Final = (16, 26, 18, 14, 14, 12)
SPARES: Final = "Spare units that are proven good"
SPARE_COLUMNS: Final = ("Unit", "Good to", "Proven", "Warm-up")
NEVER_READ: Final = "never"
STATES: Final = {
    "good": "Good", "change": "Change it now", "unread": "Read its gauge",
    "no-size": "Size not known: see the site file",
}  # fmt: skip
HOW: Final = (
    "What a cylinder is counted on for is that of a hot ward (40 °C), down to its change pressure, less its reserve. "
    "A gauge that was read too long ago counts for nothing. A spare unit is one that nobody uses, that is heard now "
    "and was proven within 30 days."
)


def as_of(when: str) -> str:
    """Stands before what is not of now."""
    return f"As of {when}:"


def ago(age: str) -> str:
    """When a gauge was read."""
    return f"{age} ago"


def nothing_known(flow: str, need: str) -> str:
    """No cylinder of the ward is known to be good."""
    return f"No cylinder is known to be good: nothing is known to carry the ward's {flow} L/min for {need}."


def nothing_in_use(need: str) -> str:
    """No unit of the ward gives any flow."""
    return f"No flow is in use now. The cylinders must carry the ward for {need}."


def carries(flow: str, lasts: str, need: str) -> str:
    """How long the good cylinders last, and how long they must."""
    return f"The cylinders carry the ward's {flow} L/min for about {lasts}; they must for {need}."
