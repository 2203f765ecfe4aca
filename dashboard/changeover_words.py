"""What is said of a changeover on tiles and on a unit's page; plain and short, ready to be translated."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from collector.tongue import plural

CARD_TITLE: Final = "If it has to be changed over"
NO_FLOW: Final = "no flow in use"


def line(parts: Sequence[str]) -> str:
    """A ward's backup in one line."""
    return f"Backup: {'; '.join(parts)}."


def cylinders_good(good: int, all_of_them: int) -> str:
    """How many cylinders can be counted on."""
    return plural("{good} of {count} cylinder good", "{good} of {count} cylinders good", all_of_them, good=good)


def about(lasts: str, flow: str) -> str:
    """How long they last at the flow in use."""
    return f"about {lasts} at {flow} L/min"


def spares(units: Sequence[str]) -> str:
    """Spare units by name."""
    return f"spare {', '.join(units)}" if units else "no spare unit proven"


def as_known(when: str, said: str) -> str:
    """Stands before what is no longer of now."""
    return f"As known at {when}: {said}"


def read_at(when: str) -> str:
    """When the gauges behind a card were read."""
    return f"Gauge read {when}."
