"""Texts of a unit's past: what the charts mark, what they mean, and what people note; one module for all of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from collector.rules import entries

ALARMS: Final = "Alarms"
SUPPLY: Final = "Supply"
SERVICE: Final = "Service"
NOTES: Final = "Notes"
TITLES: Final = {"purity_pct": "Purity, %", "flow_lpm": "Flow, L/min", "power_w": "Power, W"}
CAPACITY: Final = "Capacity, L/min"
TIPS: Final = {"purity_pct": "purity, %", "flow_lpm": "flow, L/min", "power_w": "power, W",
               "capacity": "capacity, L/min"}  # fmt: skip
TIME: Final = "time"
WHAT: Final = "what"
NOT_SEEN: Final = "not seen"
UP_TO: Final = "to"
PROVEN: Final = "proven"
NOW: Final = "now"
AMBER: Final = "amber"
RED: Final = "red"
SWITCH_OFF: Final = "switch-off"
ALT: Final = "Alarms, service and notes, then purity, flow, power and capacity over one time axis; in words below"
HOW_TO_USE: Final = (
    "Point at a moment to read all four. Drag to move along, Ctrl and the wheel to zoom, double click to go back. "
    "Line: mean; band: least and greatest (purity's band may leave the chart below: while a unit warms up it is low)."
)
CAPACITY_CAPTION: Final = (
    "Capacity: band nine chances in ten, line most likely; pale: not seen at the flow in use, so only its lower edge "
    "says anything; dashed green: proven."
)
FOLLOW: Final = "Keep up to date"
FOLLOW_HELP: Final = "New values move the chart on, and back out of a zoom: switch this off to look closely."
IN_WORDS: Final = "The same in words: values and what happened"
NOTHING_HAPPENED: Final = "No alarm, no service and no note on record in this span."
VALUES: Final = "Values in this span"
HAPPENED: Final = "What happened in this span"
VALUE_COLUMNS: Final = ("", "least", "mean", "greatest")
MARK_COLUMNS: Final = ("when", "until", "kind", "what")
LASTS: Final = "lasts"

ADD_NOTE: Final = "Add a note"
NOTE_TEXT: Final = "What should be known"
NOTE_DAY: Final = "Day"
NOTE_TIME: Final = "Time"
NOTE_KEEP: Final = "Write it down"
NOTE_PLACE: Final = "It is drawn at that moment and stays in the journal with your name."
NOTE_HELP: Final = "No names and nothing about patients: everybody who may open this page can read it."
NOTE_EMPTY: Final = "Write the note first."
NOTE_AHEAD: Final = "That moment is still ahead. A note is about what was or is: choose one up to now."

_STANDING: Final = {
    entries.WORK_OPENED: "Work order opened", entries.WORK_CLOSED: "Work order closed",
    entries.OUT_OF_SERVICE: "Taken out of service", entries.RETURN_TO_SERVICE: "Returned to service",
}  # fmt: skip
_RESULTS: Final = {entries.PASS: "passed", entries.FAIL: "failed"}
_OUTCOMES: Final = {entries.DONE: "done", entries.PUT_OFF: "put off", entries.COULD_NOT_LOCATE: "not found"}


def level(name: str, value_pct: float) -> str:
    """A limit of purity, on its line."""
    return f"{name} {value_pct:g} %"


def rated(flow_lpm: float) -> str:
    """The rated flow, on its line."""
    return f"rated {flow_lpm:g} L/min"


def in_use(flow_lpm: float) -> str:
    """The flow in use, on its line."""
    return f"in use {flow_lpm:.1f} L/min"


def noted(text: str, who: str) -> str:
    """A note as it is told."""
    return f"{text} ({who})" if who else text


def service_said(kind: str, body: Mapping[str, object], task: str, who: str) -> str:
    """What people did to a unit, in a line."""
    if kind == entries.TASK_DONE:
        said = f"{task}: {_OUTCOMES.get(str(body.get('outcome')), str(body.get('outcome', '')))}"
    elif kind == entries.PURITY_PROOF:
        said = f"Purity check {_RESULTS.get(str(body.get('result')), '')}"
        said += f": {body['as_left_pct']} % at {body.get('flow_lpm')} L/min" if body.get("as_left_pct") else ""
    else:
        why = body.get("reason") or body.get("why") or body.get("action") or ""
        said = f"{_STANDING.get(kind, kind)}{f': {why}' if why else ''}"
    return f"{said} ({who})" if who else said


def more_happened(count: int) -> str:
    """Under a table that is cut."""
    return f"and {count} earlier ones: choose a shorter span, or look into the journal."


def record_begins(when: str) -> str:
    """Where a span is longer than the record."""
    return f"The record of this unit begins {when}: the axis begins with it."


def note_done(unit: str) -> str:
    """Said once a note is written."""
    return f"{unit}: note written down"
