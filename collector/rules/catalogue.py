"""The conditions: who is told, how urgent it is, what it is called, and the one thing to do about it.

An instruction stands as long as its alarm does, so it names limits and no values that go on changing.
Priorities follow IEC 60601-1-8 (harm against onset). Conditions of rooms that come later have their place here already.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from collector.rules.events import Evidence, Priority

WARD: Final = "ward"
ENGINEER: Final = "engineer"
PLANNER: Final = "planner"

CAUSES: Final = (
    "flow-above-rated", "sieve-worn", "sieve-wet", "intake-blocked", "valve-fault", "compressor-weak",
    "supply-voltage-low", "leak", "sensor-fault", "unknown",
)  # fmt: skip


class Condition(NamedTuple):
    """One condition: `action` is a plain instruction; {names} in it are filled from the evidence."""

    name: str
    title: str
    priority: Priority
    audience: tuple[str, ...]
    action: str


_ALL: Final = (
    Condition("shutdown-expected", "Shut-off expected", "medium", (WARD, ENGINEER),
              "Unit output will fall under {falls_under} at this flow. Do not turn it up. Make the backup ready and "
              "change over before then."),
    Condition("purity-amber", "Unit output low", "medium", (WARD, ENGINEER),
              "Unit output is under {limit_pct} %. Bring the backup to the bed and be ready to change over."),
    Condition("purity-red", "Unit output very low", "high", (WARD, ENGINEER),
              "Unit output is under {limit_pct} %. Change over to the backup now."),
    Condition("purity-shutdown", "Unit has switched itself off", "high", (WARD, ENGINEER),
              "The unit gives no oxygen. Change over to the backup now."),
    Condition("capacity-falling", "Capacity falling", "low", (ENGINEER, PLANNER),
              "Good to {good_to_lpm} L/min: do not turn up, change over first. Plan a check; move the unit to where "
              "less flow is needed."),
    Condition("capacity-unproven", "Capacity not proven", "low", (ENGINEER, PLANNER),
              "Not seen to hold {rated_lpm} L/min for {days} days. Check purity at rated flow."),
    Condition("flow-above-rated", "Flow above rated", "low", (WARD,),
              "Flow is above the unit's {limit_lpm} L/min. Turn it down to the rated flow or use a "
              "second source, as the ward's protocol says."),
    Condition("flow-above-ward-limit", "Flow above the ward's limit", "medium", (WARD,),
              "Flow is above this ward's {limit_lpm} L/min. Check the setting against the order."),
    Condition("flow-absent", "No flow", "high", (WARD,),
              "The unit runs but gives no flow. Check tubing, humidifier and flow setting."),
    Condition("supply-lost", "No power at the unit", "high", (WARD, ENGINEER),
              "The unit has no power. Change over to the backup now, then check plug and socket."),
    Condition("ward-supply-lost", "No power in the ward", "high", (WARD, ENGINEER),
              "{units_lost} units in the ward have no power. Change over to cylinders now."),
    Condition("supply-poor", "Poor supply", "low", (WARD, ENGINEER),
              "Supply is more than a tenth off its {nominal_volts} V. Watch the unit; call the engineer if it lasts."),
    Condition("readings-absent", "No readings", "medium", (ENGINEER,),
              "No readings from this unit. Look at the unit itself: nothing here can say how it is."),
    Condition("sensor-suspect", "Sensor suspect", "low", (ENGINEER,),
              "Check the unit with an independent, calibrated analyser."),
    Condition("clock-wrong", "Bridge clock wrong", "low", (ENGINEER,),
              "The bridge's clock is {ahead_s} s ahead. Set it; its readings are kept aside until then."),
    Condition("service-due", "Service due", "low", (PLANNER, ENGINEER),
              "Plan what is due: {first}."),
    Condition("verification-due", "Check due", "low", (PLANNER, ENGINEER),
              "Check purity at rated flow with a calibrated analyser."),
    Condition("backup-low", "Backup low", "medium", (WARD, ENGINEER),
              "The ward's cylinders cannot carry its flow for {need_min} min. Bring another cylinder."),
)  # fmt: skip

CATALOGUE: Final[dict[str, Condition]] = {condition.name: condition for condition in _ALL}

#: Its power or its cabinet say that a unit is failing, and its purity does not yet say how far.
FALLING_UNSEEN_ACTION: Final = (
    "Power or cabinet temperature have been off for half a day. Plan a check: purity at rated flow, filters, fan."
)

#: A unit that stopped in use though its supply is there: said under `flow-absent`, in other words.
STOPPED_ACTION: Final = (
    "The unit stopped while giving {flow_lpm} L/min; its supply is there. If nobody switched it off, change over now."
)
NOT_RESTARTED_ACTION: Final = "Power is back but the unit has not started. Switch it on, or change over."
SUPPLY_UNSEEN_ACTION: Final = (
    "The unit went off while giving {flow_lpm} L/min: no power, unplugged or switched off. Look at it now."
)

#: What else is said under `backup-low`: a cylinder that is nearly empty; gauges that nobody has read.
BACKUP_CHANGE_ACTION: Final = "Nearly empty: {named}. Change it for a full cylinder and enter what its gauge shows."
BACKUP_UNREAD_ACTION: Final = (
    "Nobody knows whether the ward's cylinders would last. Read their gauges and enter what they show: {named}."
)

#: Said of a ward when several of its units show the same.
SILENT_TOGETHER_ACTION: Final = (
    "No readings from {units_lost} units. Go round the units themselves: nothing here can say how they are."
)
POOR_TOGETHER_ACTION: Final = (
    "Supply is more than a tenth off its nominal voltage at {units_poor} units. Watch them and call the engineer."
)

STEPPED_TOGETHER_ACTION: Final = (
    "Purity of {units_stepped} units changed at one moment. Check the analyser they share with another, calibrated one."
)

#: Conditions about what a unit gives: their events carry its capacity and forecast.
OUTPUT: Final = (
    "shutdown-expected", "purity-amber", "purity-red", "purity-shutdown", "capacity-falling", "capacity-unproven",
)  # fmt: skip
#: Conditions under which a unit gives nothing at all: said before those of the same priority.
_NO_OXYGEN: Final = ("ward-supply-lost", "purity-shutdown", "supply-lost", "flow-absent")

#: Conditions that are about days and weeks.
_DAYS_AWAY: Final = ("capacity-falling", "capacity-unproven", "service-due", "verification-due")


def place_of(condition: str) -> int:
    """Where a condition stands among those of its priority; smaller comes first, what is days away last."""
    if condition in _NO_OXYGEN:
        return _NO_OXYGEN.index(condition)
    return len(_NO_OXYGEN) + (condition in _DAYS_AWAY)


def title_of(condition: str) -> str:
    """What people call a condition; its own name when the catalogue does not know it."""
    known = CATALOGUE.get(condition)
    return known.title if known else condition


def action_text(template: str, evidence: Evidence) -> str:
    """Fill an instruction's {names} from the evidence; a value that is missing becomes "?"."""
    shown = {name: _shown(value) for name, value in evidence.items()}
    return template.format_map(_Missing(shown))


def _shown(value: object) -> str:
    return f"{value:.1f}".removesuffix(".0") if isinstance(value, float) else str(value)


class _Missing(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return "?"
