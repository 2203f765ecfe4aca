"""What is carried outwards by the process beside the collector, how far it is, and what is wrong with it; pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from zoneinfo import ZoneInfo

from collector.site import Site
from dashboard.times import age_text, moment_text

#: Told every five seconds: after a minute the process has ended or hangs.
OLD_MS: Final = 60_000
TITLE: Final = "Carried outwards"
HOW: Final = "Start `sieveward deliver` beside the collector."
_NAMES: Final = {"influx": "InfluxDB", "messages": "Messages"}


def carrier_rows(document: Mapping[str, Any], zone: ZoneInfo, now_ms: int) -> list[dict[str, str]]:
    """A row a carrier: what waits, what was dropped, and what it says when its last turn failed."""
    return [_row(name, state, zone, now_ms) for name, state in sorted(document.get("carriers", {}).items())]


def _row(name: str, state: Mapping[str, Any], zone: ZoneInfo, now_ms: int) -> dict[str, str]:
    up_to = state.get("up_to_ms")
    return {
        "What": _NAMES.get(name, name),
        "Up to": moment_text(up_to, now_ms, zone) if up_to else "",
        "Waits": f"{state.get('waiting', 0):,}",
        "Dropped": f"{state.get('dropped', 0) + state.get('gone', 0):,}",
        "State": str(state.get("said", "")) or "good",
    }


def carrier_warning(document: Mapping[str, Any], site: Site | None, wall_ms: int) -> str:
    """What to do where something is to be carried and nothing carries it, or nothing."""
    if not document:
        wanted = site is not None and site.influx is not None
        return f"The site file asks for a copy to InfluxDB, and nothing carries it. {HOW}" if wanted else ""
    age_ms = wall_ms - int(document.get("wall_ms", 0))
    if age_ms > OLD_MS:
        return f"What carries outwards was last heard {age_text(age_ms)} ago. {HOW}"
    return ""
