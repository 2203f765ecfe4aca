"""The monthly report, put together; pure: what is on record is handed in as `MonthData`."""

from __future__ import annotations

from collections.abc import Iterable

from collector.reading import iso_utc
from collector.rules.limits import MINUTE
from collector.service import month_figures, month_needs, month_units
from collector.service.month_data import MonthData
from collector.service.planned import planned_lines
from collector.service.report_lines import MonthReport, WarningLine
from collector.service.warned import Warned


def month_report(data: MonthData, made_ms: int) -> MonthReport:
    """Everything that the report says; made_ms is when it is made, in the facility's time."""
    units = month_units.unit_lines(data)
    tasks = planned_lines(data.site, data.month, data.rows, data.units) if data.has_record else []
    parts = month_needs.part_lines(data) if data.has_record else []
    needs = month_needs.need_lines(data, units, parts)
    figures = month_figures.figures(data, units, tasks, parts)
    facility = data.site.facility
    return MonthReport(
        month=data.month, facility=facility.name or facility.id, of=_of(data), simulated=data.site.simulated,
        currency=facility.currency, made_ms=made_ms, figures=tuple(figures),
        short=tuple(month_figures.in_short(data, figures, units, needs)), gaps=tuple(month_figures.gaps(data, units)),
        days=tuple(month_units.day_lines(data)), wards=tuple(month_units.ward_lines(data, units, tasks)),
        units=tuple(units), tasks=tuple(tasks), warnings=tuple(map(_warning, data.warned)), parts=tuple(parts),
        failures=tuple(month_units.failure_lines(data)),
        needs=tuple(needs),
    )  # fmt: skip


def _of(data: MonthData) -> str:
    stored = sum(unit.in_service is False for unit in data.units)
    units = f"{len(data.units)} units" + (f", {stored} of them in store" if stored else "")
    if data.ward is not None:
        return f"{data.places[0].title}: {units}"
    return f"all {len(data.places)} wards: {units}"


def _warning(one: Warned) -> WarningLine:
    acted = one.acted_ms
    return WarningLine(
        unit=one.unit, ward=one.ward, raised=_moment(one.raised_ms), acted=_moment(acted),
        acted_by=one.acknowledged_by if acted is not None and acted == one.acknowledged_ms else "",
        shut_off=_moment(one.shut_off_ms), ended=_moment(one.cleared_ms),
        fate=one.fate if one.raised_ms is not None else "shut off without a warning",
        acted_after_min=_min((one.raised_ms, acted)), lead_min=_min((one.raised_ms, one.shut_off_ms)),
    )  # fmt: skip


def _moment(at_ms: int | None) -> str:
    return "" if at_ms is None else iso_utc(at_ms)


def _min(span: Iterable[int | None]) -> float | None:
    first, last = span
    return None if first is None or last is None else round((last - first) / MINUTE, 1)
