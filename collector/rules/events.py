"""What the rules find, and the one JSON line that `collect` and `replay` both write for it."""

from __future__ import annotations

from typing import Final, Literal

import msgspec

from collector.reading import iso_utc

RAISED: Final = "raised"
UPDATED: Final = "updated"
CLEARED: Final = "cleared"

Priority = Literal["low", "medium", "high"]
PRIORITIES: Final[tuple[Priority, ...]] = ("low", "medium", "high")
Evidence = dict[str, float | int | str | bool | list[str] | None]
Quantiles = dict[str, float | None]


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """One thing the rules found out: a condition raised, updated or cleared for a unit, or for a ward when unit is "".

    time_ms is event time (facility clock, UTC). `forecast` maps amber_in_min, red_in_min and shutdown_in_min to
    p05/p50/p95 in minutes; `capacity_lpm` holds quantiles in L/min. Both are None until a capacity estimate exists.
    """

    time_ms: int
    unit: str
    ward: str
    event: str
    condition: str
    priority: Priority
    audience: tuple[str, ...]
    cause: str = "unknown"
    evidence: Evidence = {}
    action: str = ""
    forecast: dict[str, Quantiles] | None = None
    capacity_lpm: Quantiles | None = None

    @property
    def key(self) -> tuple[str, str, str]:
        """What `cleared` ends: (unit, ward, condition)."""
        return alarm_key(self.unit, self.ward, self.condition)


def alarm_key(unit: str, ward: str, condition: str) -> tuple[str, str, str]:
    """The identity of an alarm: a unit's stays the same when the unit moves, so its ward is not part of it."""
    return (unit, "", condition) if unit else ("", ward, condition)


def event_fields(event: Event) -> dict[str, object]:
    """The event as the mapping that a line, a journal row and a message carry; empty parts are left out."""
    fields: dict[str, object] = {"time": iso_utc(event.time_ms)}
    for name in Event.__struct_fields__[1:]:
        value = getattr(event, name)
        if value is not None and not (name in ("forecast", "capacity_lpm") and not value):
            fields[name] = value
    return fields


def event_line(event: Event) -> bytes:
    """One JSON object, no newline."""
    return msgspec.json.encode(event_fields(event))
