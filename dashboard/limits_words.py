"""Texts of the page on which other limits are tried on the past; one module for all of it."""

from __future__ import annotations

from typing import Final

PAGE: Final = "Try limits"
INTRO: Final = (
    "What would other limits have told, and what would they have missed? The readings of a past span go through the "
    "rules twice, as they are today and with your changes. Nothing that runs is altered."
)
NOT_YOURS: Final = "Trying limits is for engineers and administrators. Ask somebody whose role may."
WHAT: Final = "What to change"
LIMIT: Final = "Limit"
NEW_VALUE: Final = "New value"
ADD: Final = "Add this change"
REMOVE: Final = "Take out"
CHANGES: Final = "Changes to try"
NO_CHANGES: Final = "No change yet: choose a limit and give it a new value."
RULES: Final = "Delays of the rules"
FROM: Final = "From the beginning of"
TO: Final = "To the end of"
WARDS: Final = "Wards (none chosen: all)"
UNITS: Final = "Units (none chosen: all of these wards)"
RUN: Final = "Try it on the past"
CANCEL: Final = "Stop"
RUNNING: Final = "Going through the past"
STOPPED: Final = "Stopped. Nothing was altered."
BUSY: Final = "Somebody is trying limits just now: one at a time, so that nothing else is slowed. Try again soon."
SAME_TABLE: Final = "The alarms that differ, the gravest first"
COUNTS: Final = "By alarm"
NO_DIFFERENCE: Final = "No alarm would have been different in this span."
NO_READINGS: Final = "The store holds no single readings of these units in this span. Choose another."
WRONG_SPAN: Final = "The span ends before it begins. Choose a later end."
LOST_TITLE: Final = "A warning would be lost"
APPLY: Final = "To make it so"
APPLY_SITE: Final = (
    "Limits of models and wards stand in the site file. Put these lines into the tables of the same id there, check it "
    "with `sieveward check`, and restart the collector. The unit's manual overrides every limit here."
)
APPLY_RULES: Final = (
    "Delays of the rules are the same for every hospital and are no part of a site file: what is tried here of them "
    "can be kept as a file of changes for `sieveward replay --changes`, and told to whoever looks after the software."
)
CAUTION: Final = (
    "The past is no promise: a rare fault may be missing in this span. Both runs begin without a memory, so forecasts "
    "of the first hours are thin. Alarms of the backup and of what is due are not tried. Chosen single units are told "
    "alone, not together with their ward."
)
COUNT_COLUMNS: Final = ("alarm", "today", "with the change", "same", "earlier", "later", "more", "fewer", "hours today",
                        "hours with it")  # fmt: skip
DIFFERENCE_COLUMNS: Final = ("what", "alarm", "priority", "unit", "ward", "today", "with the change")
CHANGE_COLUMNS: Final = ("of", "limit", "today", "tried")
KINDS: Final = {
    "gone": "no longer raised", "later": "later", "new": "new", "earlier": "earlier", "joined": "not raised again",
    "split": "raised again", "priority": "high at another moment", "same": "the same",
}  # fmt: skip

#: What a limit is, where its default comes from, and what it cannot say.
TITLES: Final = {
    "rated_flow_lpm": "Rated flow", "amber_pct": "Amber purity", "red_pct": "Red purity",
    "shutdown_pct": "Switch-off purity", "warm_up_min": "Warm-up", "rated_power_w": "Rated power",
    "nominal_volts": "Nominal voltage", "flow_limit_lpm": "Flow limit of the ward", "absent": "Silence after",
    "amber.on": "Amber: raised after", "amber.off": "Amber: ended after", "red.on": "Red: raised after",
    "red.off": "Red: ended after", "purity_deadband_pct": "Purity deadband", "notice_min": "Ward told before amber",
    "expected.on": "Shut-off expected: raised after", "falling_days": "Capacity falling: days before amber",
    "flow_absent.on": "No flow: raised after", "above_ward.on": "Above ward's limit: raised after",
    "poor.on": "Poor supply: raised after", "stopped_on": "Stopped in use: switched off after",
}  # fmt: skip
HELP: Final = {
    "amber_pct": "Under it the ward makes the backup ready. Default 85 %: common practice. It says nothing of the flow "
    "at which the unit would still do well.",
    "red_pct": "Under it the ward changes over. Default 82 %: the low-oxygen alarm point of WHO's technical "
    "specifications (2015) and of ISO 80601-2-69. It says nothing of any patient's need.",
    "shutdown_pct": "Where the unit switches itself off: its manual says. Default 70 %: common practice.",
    "rated_flow_lpm": "The most that the manual allows. Changing it moves what is above rated and what must be proven.",
    "warm_up_min": "No purity alarm while a unit warms up. Default 10 min: 90 % of the rise within 10.5 min (Johns et "
    "al., Thorax 1985;40:806).",
    "flow_limit_lpm": "Set by the ward: above it flow is to be checked against the order. It is no safe dose.",
    "absent": "How long without a reading is silence. Default 120 s, twelve readings at 10 s: common practice.",
    "amber.on": "A longer delay hides short dips. Default 60 s, for slow quantities: ISA-18.2 (from memory).",
    "red.on": "Default 30 s: two readings at least, so that one spike is no alarm. A longer one costs the ward time.",
    "notice_min": "How long before amber the ward is told, by the forecast's median. Default 330 min, most of a shift: "
    "common practice. Forecasts were tried on simulated units only.",
    "falling_days": "How many days before amber at the flow in use the engineer is told. Common practice.",
}  # fmt: skip
HELP_OTHER: Final = "A limit of the rules; its reason and source stand in collector/rules/limits.py."


def now_is(value: str) -> str:
    """Today's value beside the field of a new one."""
    return f"today: {value}"


def takes(readings: int, seconds: float) -> str:
    """What a try will take."""
    time = f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
    return f"About {readings:,} readings: it will take about {time}. You can stop it at any time."


def too_large(readings: int, most: int) -> str:
    """Why a try is refused, and the way out."""
    return (f"About {readings:,} readings are more than the {most:,} that are tried from a screen. Choose fewer "
            "days, wards or units; or use `sieveward replay --changes` on another machine.")  # fmt: skip


def kept_from(day: str) -> str:
    """From when on single readings are kept."""
    return f"Single readings are kept from {day} on: nothing earlier can be tried."


def done(readings: int, units: int, span: str) -> str:
    """What was gone through."""
    return f"{readings:,} readings of {units} units over {span} went through both."


def in_short(today: int, changed: int, ward_today: int, ward_changed: int) -> str:
    """The first thing to be said of a comparison."""
    return (f"**{changed} alarms instead of {today}** ({_more(changed - today)}); alerts that the wards are told: "
            f"**{ward_changed} instead of {ward_today}**.")  # fmt: skip


def _more(by: int) -> str:
    return "as many" if not by else f"{abs(by)} {'more' if by > 0 else 'fewer'}"


def shutdowns(today: tuple[int, int], changed: tuple[int, int]) -> str:
    """How many shut-offs on low purity had a low-purity alarm standing before them."""
    return (f"Shut-offs on low purity with an alarm before them: today {today[1]} of {today[0]}, with the change "
            f"{changed[1]} of {changed[0]}.")  # fmt: skip


def lost(unit: str, when: str) -> str:
    """One shut-off that loses its warning."""
    return f"{unit} switched itself off on {when}: today an alarm stood before it, with the change none would."


def shifted(kind: str, by: str) -> str:
    """Earlier or later, and by how much."""
    return f"{by} {KINDS[kind]}" if by else KINDS[kind]


def failed(said: str) -> str:
    """A try that came to nothing."""
    return f"It could not be tried: {said}"


def of_model(name: str) -> str:
    """A model, as a choice."""
    return f"model {name}"


def of_ward(name: str) -> str:
    """A ward, as a choice."""
    return f"ward {name}"
