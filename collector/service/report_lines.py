"""The monthly report as typed lines: what its pages show and its CSV files hold, field by field."""

from __future__ import annotations

from datetime import date
from typing import Final

import msgspec

from collector.service.month import Month

#: Outcomes of a task that fell due.
ON_TIME: Final = "on time"
LATE: Final = "late"
OPEN: Final = "open"


class Figure(msgspec.Struct, frozen=True, kw_only=True):
    """One figure: `value` in `sign`, counted as `part` of `whole`; None where there are no data, and `says` why.

    aim is what the trade asks for ("" where nothing is), met whether it is reached (None: cannot be said). `empty` is
    what stands in a missing value's place.
    """

    key: str
    title: str
    value: float | None
    sign: str
    says: str
    part: float | None = None
    whole: float | None = None
    aim: str = ""
    met: bool | None = None
    empty: str = "no data"


class DayLine(msgspec.Struct, frozen=True, kw_only=True):
    """One day: units heard of, alarms told to wards by priority, unit-hours seen running, with output adequate."""

    day: date
    heard: int
    low: int
    medium: int
    high: int
    running_h: float
    adequate_h: float


class WardLine(msgspec.Struct, frozen=True, kw_only=True):
    """One ward; hours are unit-hours of the units that stand there now. alarms_a_day is of those told to the ward.

    warnings are those that are over, acted_on of them before any shut-off.
    """

    ward: str
    title: str
    units: int
    in_service_h: float
    down_h: float
    unknown_h: float
    availability_pct: float | None
    tasks_due: int
    tasks_on_time: int
    warnings: int
    acted_on: int
    alarms: int
    alarms_a_day: float
    most_alarms_in_a_day: int
    energy_kwh: float | None


class UnitLine(msgspec.Struct, frozen=True, kw_only=True):
    """One unit; shown is its purity at rated flow this month: "yes", "no" or "not shown"."""

    unit: str
    ward: str
    in_service_h: float
    down_h: float
    unknown_h: float
    running_h: float
    inadequate_h: float
    failures: int
    shut_offs: int
    warnings: int
    alarms: int
    availability_pct: float | None
    functional: str
    functional_by: str
    energy_kwh: float | None


class TaskLine(msgspec.Struct, frozen=True, kw_only=True):
    """One task that fell due in the month; outcome: ON_TIME, LATE, OPEN, or that of the journal."""

    unit: str
    ward: str
    task: str
    title: str
    due: str
    done: str
    outcome: str
    note: str
    by: str


class WarningLine(msgspec.Struct, frozen=True, kw_only=True):
    """One warning, or a shut-off without one; moments are RFC 3339, UTC."""

    unit: str
    ward: str
    raised: str
    acted: str
    acted_by: str
    shut_off: str
    ended: str
    fate: str
    acted_after_min: float | None
    lead_min: float | None


class FailureLine(msgspec.Struct, frozen=True, kw_only=True):
    """Failures of the fleet, a model or a ward; mtbf is run hours a failure with its 90 % interval, None unknown.

    answered is the median from a failure to the first thing anybody did about it, repair to being back in service.
    """

    of: str
    run_h: float
    failures: int
    mtbf_h: float | None
    mtbf_low_h: float | None
    mtbf_high_h: float | None
    answered_median_min: float | None
    repaired: int
    repair_median_h: float | None
    still_down: int
    again_within_30_days: int


class PartLine(msgspec.Struct, frozen=True, kw_only=True):
    """One part: pieces used and received in the month, what they cost, and what is there and to be ordered."""

    part: str
    title: str
    used: int
    received: int
    used_cost: float | None
    stock: int | None
    to_order: int | None
    order_cost: float | None


class NeedLine(msgspec.Struct, frozen=True, kw_only=True):
    """Something that needs money or a decision; cost None where nobody has said what it costs."""

    what: str
    why: str
    cost: float | None


class MonthReport(msgspec.Struct, frozen=True, kw_only=True):
    """A whole report; `short` says in sentences what a director must know, `gaps` what is missing in the data."""

    month: Month
    facility: str
    of: str
    simulated: bool
    currency: str
    made_ms: int
    short: tuple[str, ...]
    gaps: tuple[str, ...]
    figures: tuple[Figure, ...]
    days: tuple[DayLine, ...]
    wards: tuple[WardLine, ...]
    units: tuple[UnitLine, ...]
    tasks: tuple[TaskLine, ...]
    warnings: tuple[WarningLine, ...]
    failures: tuple[FailureLine, ...]
    parts: tuple[PartLine, ...]
    needs: tuple[NeedLine, ...]
