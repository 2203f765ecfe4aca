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
FAILS: Final = 2  # one failure may be a moment's
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
        "State": str(state.get("said", "")) or ("some ways fail" if _failing(state) else "good"),
    }


def way_rows(document: Mapping[str, Any], zone: ZoneInfo, now_ms: int) -> list[dict[str, str]]:
    """A row a way of messages: whom it reaches, when a message last went, and why the last one did not."""
    ways = document.get("carriers", {}).get("messages", {}).get("ways", {})
    return [
        {
            "Way": way, "To": str(state.get("person", "")), "Role": str(state.get("role", "")),
            "Last sent": moment_text(state.get("sent_ms"), now_ms, zone),
            "State": f"{state['failures']} failures: {state.get('said', '')}" if state.get("failures") else "good",
        }
        for way, state in ways.items()
    ]  # fmt: skip


def messages_fault(document: Mapping[str, Any], site: Site | None, wall_ms: int) -> str:
    """What stands over every screen while messages are asked for and somebody is not reached; "" while all is well."""
    messages = document.get("carriers", {}).get("messages")
    if messages is None and (site is None or site.messages is None):
        return ""
    if messages is None or wall_ms - int(document.get("wall_ms", 0)) > OLD_MS:
        return f"NO MESSAGES GO OUT: what sends them does not run. Tell people by other means. {HOW}"
    if failing := _failing(messages):
        return f"No message gets through to {', '.join(failing)}. Tell them by other means."
    return ""


def _failing(state: Mapping[str, Any]) -> list[str]:
    """Whom no message reaches: more than one failure, the last time that was tried."""
    return [str(way.get("person", name)) for name, way in state.get("ways", {}).items()
            if int(way.get("failures", 0)) >= FAILS]  # fmt: skip


def carrier_warning(document: Mapping[str, Any], site: Site | None, wall_ms: int) -> str:
    """What to do where something is to be carried and nothing carries it, or nothing."""
    if not document:
        tables = (("a copy to InfluxDB", site.influx), ("messages", site.messages)) if site is not None else ()
        wanted = " and ".join(what for what, table in tables if table is not None)
        return f"The site file asks for {wanted}, and nothing carries it. {HOW}" if wanted else ""
    age_ms = wall_ms - int(document.get("wall_ms", 0))
    if age_ms > OLD_MS:
        return f"What carries outwards was last heard {age_text(age_ms)} ago. {HOW}"
    return ""
