"""Every text of the screen of fleet figures; plain and short, ready to be translated."""

from __future__ import annotations

from typing import Final

SPAN: Final = "Span"
SPANS: Final = {7: "7 days", 30: "30 days", 91: "3 months", 365: "A year"}
NO_FIGURES_YET: Final = (
    "No hour has been summed up in this span yet. Figures begin with the first whole hour of readings."
)
AVAILABLE: Final = "Available"
ADEQUATE: Final = "Purity adequate"
FAILURES: Final = "Failures"
RUN_HOURS: Final = "Run hours"
MTBF: Final = "Run hours per failure"
REPAIR: Final = "Median repair, h"
ENERGY: Final = "Energy, kWh"
COST: Final = "Cost"
ALL: Final = "All units"
LASTS: Final = "still down"
AGAIN: Final = "again within 30 days"
WITHIN: Final = "all within"
AVAILABILITY: Final = "Availability and purity"
FAILURES_HEAD: Final = "Failures and repair"
EACH_FAILURE: Final = "Each failure"
FIRST_FAILURE: Final = "Time to first failure, by model"
DEMAND: Final = "Demand of wards"
ALARM_LOAD: Final = "Alarms told to wards"
HOURS_COLUMNS: Final = ("", "Available", "If unknown were down, up", "Up, h", "Down, h", "Unknown, h",
                        "Purity adequate", "Energy, kWh")  # fmt: skip
FAILURE_COLUMNS: Final = (
    "",
    "Run hours",
    "Failures",
    "Run hours per failure",
    "Median repair, h",
    "Still down",
    "Repeats",
)
EACH_COLUMNS: Final = ("Unit", "From", "Cause", "Lasted", "Answered after", "")
SURVIVAL_COLUMNS: Final = ("Model", "Units", "Failed", "Half by, h", "Without failure")
DEMAND_COLUMNS: Final = (
    "Ward",
    "Median, L/min",
    "Peak, L/min",
    "Known to hold, L/min",
    "Spare at peak, L/min",
    "Units not proven",
)
ALARM_COLUMNS: Final = ("Ward", "Alarms", "A day", "Most in 10 min", "Floods", "Stale", "Chattering", "EEMUA 191")
FIGURE_NOTES: Final = {
    AVAILABILITY: "Available: of the hours that are known, up or down; unknown hours (no readings) are told apart. "
                  "Purity adequate: of the hours that ran with purity measured.",
    FAILURES_HEAD: "A failure: purity under red or switched off by the unit's own fault, or work that found a fault. "
                   "The interval is nine chances in ten (NIST/SEMATECH e-Handbook 8.4.5.1).",
    EACH_FAILURE: "Answered: acknowledged, taken out of service, or work opened.",
    FIRST_FAILURE: "Kaplan and Meier's estimate over run hours on record; what came before is not known.",
    DEMAND: "Known to hold: what each unit is known to give, at most its rated flow; a unit of which nothing is known "
            "counts as nothing.",
    ALARM_LOAD: "Targets after EEMUA 191: one in ten minutes on average, over ten in ten minutes is a flood, a day "
                "is stale, three in a minute is chattering.",
}  # fmt: skip


def of_hours(hours: str) -> str:
    """What a share is of."""
    return f"of {hours} h"


def sure(low: str, high: str | None) -> str:
    """The interval of the run hours between failures; without a failure there is a lower end only."""
    return f"{low} to {high}" if high is not None else f"{low} or more"


def repaired(count: int) -> str:
    """How many repairs a median is of."""
    return f"of {count} repaired"


def without_failure(share: str, hours: str) -> str:
    """What share has not failed by then."""
    return f"{share} after {hours} h"


def not_within(names: list[str]) -> str:
    """Targets that are missed."""
    return f"over: {', '.join(names)}"


def figures_of(start: str, end: str, units: int, stored: int) -> str:
    """What the figures are of."""
    return f"From {start} to {end}, {units} units; {stored} not used."
