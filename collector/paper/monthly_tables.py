"""The tables behind the monthly report's first page, and how its figures are counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Final

from reportlab.platypus import Flowable

from collector.paper.sheet import NOTE, heading, table, text
from collector.rules.entries import COULD_NOT_LOCATE, PUT_OFF
from collector.service.report_lines import LATE, ON_TIME, OPEN, MonthReport, UnitLine

#: Lines of a table that people read through; the CSV files have all of them.
WORST_UNITS: Final = 12
MOST_LINES: Final = 60
MOST_TASKS: Final = 30
#: What needs money: so many lines on the first page.
FIRST_NEEDS: Final = 5
#: Below it a unit is not named: a minute under the limit after a start is no trouble.
LEAST_TROUBLE: Final = 1.0
NONE: Final = "None."

COUNTED: Final = (
    "Maintenance on time: each time a task of a unit in use falls due counts once, with what was overdue when the "
    "month began. On time is up to a tenth of its interval after the due date, a day at least, and a week where it "
    "goes by hours or condition (common practice, no source). What could not be located, was put off or is still "
    "open counts as not done on time.",
    "Functional: units in use whose last evidence of the month was good: a check at rated flow that passed, or an "
    "hour of readings at nine tenths of rated flow or more that held the model's limit. A failure, and an hour "
    "under the limit at the rated flow or less, are evidence against. The whole is every unit in use, those not "
    "checked among them.",
    "Availability: the share of unit-hours in which a unit was neither out of service nor failed. Hours without "
    "readings are unknown: they are left out, and their number stands beside it. Spare units count; units in store "
    "do not.",
    "Warnings acted on: of the warnings of a coming shut-off that are over, those that somebody acknowledged, or "
    "whose unit was taken out of service, before any shut-off. Nobody writes down whether a patient was changed "
    "over.",
    "Alarm to acknowledgement: minutes from a medium or high alarm told to a ward until somebody acknowledged it on "
    "a screen: the median of those that were. An alarm that people dealt with and never acknowledged counts as not "
    "acknowledged.",
    "Alarms a ward and day: alarms told to a ward, over its days with readings. EEMUA 191 calls 150 a day "
    "acceptable for one operator (second-hand source); a ward is taken as one.",
    "Failures: output under the limit or a shut-off by the unit's own fault, or work that found one; what comes "
    "within a day of another is the same one. Run hours a failure: with a 90 % interval for a constant "
    "rate (NIST/SEMATECH e-Handbook 8.4.5.1).",
    "Energy: power as measured, over the hours in which it was. Gaps are not filled, and units without a power "
    "reading are left out.",
    "Parts: of the whole facility, also in a ward's report. To order: as the parts list works it out at the month's "
    "end.",
    "Aims: 90 % of maintenance on time is the trade's target (from memory), 100 % for life support.",
)  # fmt: skip


def detail_tables(report: MonthReport) -> Iterable[Flowable]:
    """Everything after the first page."""
    if len(report.needs) > FIRST_NEEDS:
        yield from needs(report, MOST_LINES)
    yield from _wards(report)
    yield from _units(report)
    yield from _warnings(report)
    yield from _failures(report)
    yield from _tasks(report)
    yield from _parts(report)
    yield from heading("How these figures are counted")
    yield from (text(said, NOTE) for said in COUNTED)


def needs(report: MonthReport, most: int) -> Iterable[Flowable]:
    """What needs money or a decision, the first of it."""
    rows = [(need.what, need.why, _money(need.cost)) for need in report.needs[:most]]
    yield from _section("What needs money or a decision", ("What", "Why", f"Cost {report.currency}".strip()), rows,
                        (34, 52, 14), left=2, more=len(report.needs) - len(rows))  # fmt: skip


def _wards(report: MonthReport) -> Iterable[Flowable]:
    heads = ("Ward", "Units", "Available %", "Down h", "Unknown h", "Tasks on time", "Warnings acted on",
             "Alarms a day", "Most in a day", "kWh")  # fmt: skip
    rows = [
        (w.title, str(w.units), _number(w.availability_pct), _number(w.down_h), _number(w.unknown_h),
         _of(w.tasks_on_time, w.tasks_due), _of(w.acted_on, w.warnings), _number(w.alarms_a_day),
         str(w.most_alarms_in_a_day), _number(w.energy_kwh, 0))
        for w in report.wards
    ]  # fmt: skip
    yield from _section("Wards", heads, rows, (22, 8, 10, 9, 10, 10, 11, 9, 9, 9))


def _units(report: MonthReport) -> Iterable[Flowable]:
    heads = ("Unit", "Ward", "Shown at rated flow", "Available %", "Down h", "Under limit h", "Failures", "Shut-offs",
             "Warnings", "Alarms")  # fmt: skip
    bad = [unit for unit in worst(report.units) if trouble(unit) >= LEAST_TROUBLE]
    names = {ward.ward: ward.title for ward in report.wards}
    rows = [
        (u.unit, names.get(u.ward, u.ward), u.functional, _number(u.availability_pct), _number(u.down_h),
         _number(u.inadequate_h), str(u.failures), str(u.shut_offs), str(u.warnings), str(u.alarms))
        for u in bad[:WORST_UNITS]
    ]  # fmt: skip
    yield from _section("Units with the most trouble", heads, rows, (13, 17, 12, 11, 8, 8, 9.5, 10.5, 10.5, 8), left=3,
                        more=len(bad) - len(rows))  # fmt: skip


def trouble(unit: UnitLine) -> float:
    """How much trouble a unit was: hours down or under its limit, with a day for a shut-off or failure (a choice)."""
    return unit.down_h + unit.inadequate_h + 24.0 * (unit.shut_offs + unit.failures) + unit.warnings + unit.alarms / 100


def worst(units: Iterable[UnitLine]) -> list[UnitLine]:
    """Units by how much trouble they were, the worst first."""
    return sorted(units, key=lambda unit: (-trouble(unit), unit.unit))


def _warnings(report: MonthReport) -> Iterable[Flowable]:
    heads = ("Unit", "Warned", "What became of it", "Acted", "By", "After min", "Before shut-off min")
    rows = [
        (w.unit, _when(w.raised, report) or "not warned", w.fate, _when(w.acted, report), w.acted_by,
         _number(w.acted_after_min), _number(w.lead_min))
        for w in report.warnings[:MOST_LINES]
    ]  # fmt: skip
    yield from _section("Warnings of a coming shut-off, and shut-offs", heads, rows, (14, 15, 24, 15, 14, 9, 11),
                        left=5, more=len(report.warnings) - len(rows))  # fmt: skip


def _failures(report: MonthReport) -> Iterable[Flowable]:
    heads = ("Of", "Run hours", "Failures", "Run hours a failure", "90 % sure", "Answer, median min", "Repaired",
             "Repair, median h", "Still down", "Again in 30 days")  # fmt: skip
    rows = [
        (f.of, _number(f.run_h, 0), str(f.failures), _number(f.mtbf_h, 0), _range(f.mtbf_low_h, f.mtbf_high_h),
         _number(f.answered_median_min), str(f.repaired), _number(f.repair_median_h), str(f.still_down),
         str(f.again_within_30_days))
        for f in report.failures
    ]  # fmt: skip
    yield from _section("Failures and repairs", heads, rows, (20, 9, 9, 11, 15, 11, 10, 9, 8, 8))


def _range(low: float | None, high: float | None) -> str:
    if low is None:
        return "–"
    return f"over {_number(low, 0)}" if high is None else f"{_number(low, 0)} to {_number(high, 0)}"


def _tasks(report: MonthReport) -> Iterable[Flowable]:
    outcomes = (ON_TIME, LATE, OPEN, COULD_NOT_LOCATE, PUT_OFF)
    counts = Counter((task.title, task.outcome) for task in report.tasks)
    rows = [
        (title, str(sum(counts[title, outcome] for outcome in outcomes)), *(str(counts[title, o]) for o in outcomes))
        for title in sorted({task.title for task in report.tasks})
    ]
    heads = ("Task", "Due", "On time", "Late", "Open", "Not located", "Put off")
    yield from _section("Maintenance that fell due", heads, rows, (40, 10, 10, 10, 10, 10, 10))
    missed = [task for task in report.tasks if task.outcome != ON_TIME and task.by != "ward"]
    listed = [(t.unit, t.title, t.due, t.done, t.outcome.replace("-", " "), t.note) for t in missed[:MOST_TASKS]]
    columns = ("Unit", "Task", "Due", "Done", "Outcome", "Why due")
    yield from _section("Engineers' tasks not done on time", columns, listed, (13, 38, 11, 11, 13, 14), left=6,
                        more=len(missed) - len(listed))  # fmt: skip


def _parts(report: MonthReport) -> Iterable[Flowable]:
    heads = ("Part", "Used", "Received", "Cost of what was used", "In stock", "To order", "Cost of the order")
    rows = [
        (p.title, str(p.used), str(p.received), _money(p.used_cost), _whole(p.stock), _whole(p.to_order),
         _money(p.order_cost))
        for p in report.parts
    ]  # fmt: skip
    yield from _section("Parts", heads, rows, (30, 9, 10, 16, 10, 10, 15))


def _section(
    title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float], *, left: int = 1,
    more: int = 0,
) -> Iterable[Flowable]:  # fmt: skip
    yield from heading(title)
    yield table(heads, rows, widths, left=left) if rows else text(NONE)
    if more > 0:
        yield text(f"and {more} more, in the tables that follow or the CSV files.", NOTE)


def _when(moment: str, report: MonthReport) -> str:
    if not moment:
        return ""
    at = datetime.fromisoformat(moment).astimezone(report.month.zone)
    return f"{at.day} {at:%b %H:%M}"


def _number(value: float | None, digits: int = 1) -> str:
    return "–" if value is None else f"{value:,.{digits}f}".replace(",", " ")


def _of(part: int, whole: int) -> str:
    return f"{part} of {whole}" if whole else "–"


def _whole(value: int | None) -> str:
    return "–" if value is None else str(value)


def _money(value: float | None) -> str:
    return "–" if value is None else f"{value:,.2f}".replace(",", " ")
