"""Who has been told of an alarm by message, and when: from journal rows; pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple
from zoneinfo import ZoneInfo

from collector.rules.alarms import Alarm
from collector.rules.entries import MESSAGE_FAILED, MESSAGE_SENT, JournalRow
from dashboard.times import moment_text

KINDS = (MESSAGE_SENT, MESSAGE_FAILED)


class Told(NamedTuple):
    """The last that is known of one way: whom, when, and why it did not get through ("" when it did)."""

    person: str
    at_ms: int
    said: str = ""


Tellings = dict[str, dict[str, Told]]


def tellings(rows: Iterable[JournalRow]) -> Tellings:
    """By what was told (`alarm-12`) and by way; a failure after a success takes nothing back."""
    found: Tellings = {}
    for row in sorted((row for row in rows if row.kind in KINDS), key=lambda row: row.seq):
        way, person = str(row.body.get("way", "")), str(row.body.get("person", ""))
        told = Told(person or way, row.at_ms, "" if row.kind == MESSAGE_SENT else str(row.body.get("said", "")))
        for item in row.body.get("alarms", ()):
            ways = found.setdefault(str(item["about"]), {})
            if way not in ways or ways[way].said:
                ways[way] = told
    return found


def told_text(alarm: Alarm, found: Tellings, now_ms: int, zone: ZoneInfo) -> str:
    """One sentence of who was told when, and whom no message reached; "" when nobody was."""
    about = f"alarm-{alarm.heard_seq}"
    ways = {way: told for name, ways in found.items() if name == about or name.startswith(f"{about}-")
            for way, told in ways.items()}  # fmt: skip
    told = sorted(ways.values(), key=lambda one: one.at_ms)
    reached = ", ".join(f"{one.person} {moment_text(one.at_ms, now_ms, zone)}" for one in told if not one.said)
    missed = ", ".join(f"{one.person} ({one.said})" for one in told if one.said)
    parts = (f"Told: {reached}." if reached else "", f"Not reached: {missed}." if missed else "")
    return " ".join(part for part in parts if part)
