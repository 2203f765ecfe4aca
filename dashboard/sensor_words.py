"""Every text of the screen of sensors and bridges; plain and short."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Sensors and bridges"
BRIDGES: Final = "Bridges"
UNITS: Final = "Sensors to look at"
ALL_WELL: Final = "Every unit in use is heard, and nothing is in doubt."
NO_BRIDGE: Final = "No bridge has reported here."
INTAKE: Final = "What came in"
ASIDE: Final = "Could not be read, by reason"
UNIT_COLUMNS: Final = ("Unit", "Ward", "Last reading", "In doubt", "Not measured", "Not heard, last 24 h")
SAID_BY: Final = "Troubles the collector says"
NEVER: Final = "never"
OUT: Final = "out of service"
NAMES: Final = {"purity_pct": "purity", "flow_lpm": "flow", "power_w": "power", "volts": "supply"}
CAPTION: Final = (
    "Not heard: minutes without a reading, of those on record in the last 24 h. Not measured: missing in the last "
    "reading; without purity or flow nothing can be foreseen."
)
CERTIFICATE: Final = "A certificate that runs out within a month is told above every screen."


def ago(age: str) -> str:
    """How long ago a unit was heard."""
    return f"{age} ago"


def missing(minutes: int, share: str) -> str:
    """How long a unit was not heard."""
    return f"{minutes} min ({share})"


def others(count: int) -> str:
    """Units that need no look."""
    return f"{count} more units are heard and not in doubt."
