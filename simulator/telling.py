"""A scenario as a story that a screen can tell: what happens to whom from when to when, taken from its faults; pure."""

from __future__ import annotations

from typing import Any, Final

from collector.site import Site
from simulator.faults import Fault
from simulator.scenario import MAIN_BRIDGE, Scenario

#: The status document under which a demo leaves it.
DOCUMENT: Final = "story"


def told(scenario: Scenario, site: Site, story_ms: int) -> dict[str, Any]:
    """The story as a document, in the order of its beginnings; times in ms since 1970, story_ms its own beginning.

    {title, why, start_ms, end_ms, parts: [{kind, at_ms, until_ms, grows_ms, units, ward, bridge}]}; a part without an
    end has until_ms None.
    """
    head = scenario.scenario
    parts = [_part(fault, scenario, site, story_ms) for fault in scenario.faults]
    return {"title": head.title, "why": head.why, "start_ms": story_ms,
            "end_ms": story_ms + round(head.minutes * 60_000),
            "parts": sorted(parts, key=lambda part: part["at_ms"])}  # fmt: skip


def _part(fault: Fault, scenario: Scenario, site: Site, story_ms: int) -> dict[str, Any]:
    at_ms = story_ms + fault.start_ms
    until_ms = None if fault.length_ms is None else at_ms + fault.length_ms
    return {"kind": fault.kind, "at_ms": at_ms, "until_ms": until_ms,
            "grows_ms": fault.rise_ms, "units": _units(fault, scenario, site), "ward": fault.ward,
            "bridge": fault.bridge}  # fmt: skip


def _units(fault: Fault, scenario: Scenario, site: Site) -> list[str]:
    """The units that it befalls; those of a whole ward are the ward's as the site says."""
    if fault.ward:
        return [unit.id for unit in site.units_of(fault.ward)]
    if fault.bridge:
        behind = {bridge.id: bridge.units for bridge in scenario.bridges}
        every = tuple(unit.id for unit in site.units) if fault.bridge == MAIN_BRIDGE else ()
        return list(behind.get(fault.bridge, every))
    return list(fault.units) or [fault.unit]
