"""MQTT topics, version 1. Location is never in a topic: units move between wards."""

from __future__ import annotations

ROOT = "oxygen/v1"


def readings_topic(facility: str, unit: str) -> str:
    """Where a unit's SenML packs are published."""
    return f"{ROOT}/{facility}/unit/{unit}/readings"


def gauge_topic(facility: str, cylinder: str) -> str:
    """Where the SenML packs of a cylinder's pressure sensor are published."""
    return f"{ROOT}/{facility}/cylinder/{cylinder}/readings"


def link_topic(facility: str, bridge: str) -> str:
    """Where a bridge's retained `online`/`offline` stands."""
    return f"{ROOT}/{facility}/bridge/{bridge}/link"


def bridge_state_topic(facility: str, bridge: str) -> str:
    """Where a bridge's retained word stands of what waits with it, what it dropped, and how its ports are."""
    return f"{ROOT}/{facility}/bridge/{bridge}/state"


def signal_topic(facility: str, ward: str) -> str:
    """Where the retained message stands that says what a ward must know now."""
    return f"{ROOT}/{facility}/ward/{ward}/signal"


def heartbeat_topic(facility: str) -> str:
    """Where the collector says that it lives."""
    return f"{ROOT}/{facility}/collector/heartbeat"


def split_topic(topic: str) -> tuple[str, str, str] | None:
    """Split a topic that carries something for the collector into (facility, kind, id), else None.

    The kind is `unit`, `cylinder`, `bridge` (its link) or `bridge-state`.
    """
    parts = topic.split("/")
    if len(parts) != 6 or parts[0] != "oxygen" or parts[1] != "v1":
        return None
    kind, last = parts[3], parts[5]
    if (kind, last) == ("bridge", "state"):
        return parts[2], "bridge-state", parts[4]
    if (kind, last) not in (("unit", "readings"), ("cylinder", "readings"), ("bridge", "link")):
        return None
    return parts[2], kind, parts[4]


def session_of(facility: str) -> str:
    """The MQTT client id that a facility's collector has, and with it the session that the broker keeps for it."""
    return f"sieveward-{facility}"
