"""The month of each day, unit and ward: availability, output, failures, alarms, energy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from collector.rules.catalogue import title_of
from collector.service.failures import Failure
from collector.service.given import ADEQUATE, INADEQUATE, Bucket, judge
from collector.service.month_data import MonthData, ran_h
from collector.service.proof import FLOW_SHARE, Proof
from collector.service.reliability import Figures
from collector.service.report_lines import ON_TIME, DayLine, FailureLine, TaskLine, UnitLine, WardLine
from collector.service.warned import STANDS
from collector.site import Model, Unit, Ward

SHOWN: Final = "yes"
NOT_GOOD: Final = "no"
NOT_SHOWN: Final = "not shown"


def unit_lines(data: MonthData) -> list[UnitLine]:
    """One line a unit of the report."""
    alarms = Counter(alarm.key[0] for told in data.told.values() for alarm in told)
    shut = Counter(one.unit for one in data.warned if one.shut_off_ms is not None)
    warned = Counter(one.unit for one in data.warned if one.raised_ms is not None)
    return [_unit_line(data, unit, alarms[unit.id], shut[unit.id], warned[unit.id]) for unit in data.units]


def _unit_line(data: MonthData, unit: Unit, alarms: int, shut_offs: int, warned: int) -> UnitLine:
    figures, made = data.fleet.units[unit.id], data.given[unit.id]
    hours = figures.availability
    failures = [failure for failure in data.fleet.failures if failure.unit == unit.id]
    shown, by = shown_by(
        data.site.model_of(unit.id), data.proofs.get(unit.id), data.hours.get(unit.id, ()), failures
    )  # fmt: skip
    return UnitLine(
        unit=unit.id, ward=data.site.ward_of(unit.id).id, in_service_h=_h(hours.fleet_h), down_h=_h(hours.down_h),
        unknown_h=_h(hours.unknown_h), running_h=_h(ran_h(made)), inadequate_h=_h(made.inadequate_h),
        failures=figures.failures, shut_offs=shut_offs, warnings=warned, alarms=alarms,
        availability_pct=percent(hours.share), functional=shown, functional_by=by,
        energy_kwh=_h(made.kwh) if made.power_h else None,
    )  # fmt: skip


def shown_by(
    model: Model, proof: Proof | None, hours: Iterable[Bucket], failures: Iterable[Failure]
) -> tuple[str, str]:  # fmt: skip
    """Whether a unit was shown good at rated flow ("yes", "no", "not shown"), and by what; the last evidence counts.

    What is under the limit for an hour at less than the rated flow would be at the rated one too.
    """
    found: list[tuple[int, str, str]] = [(0, NOT_SHOWN, "")]
    if proof is not None:
        found.append((proof.at_ms, SHOWN if proof.passed else NOT_GOOD, f"check with {proof.analyser}"))
    found += [(failure.from_ms, NOT_GOOD, f"failed: {', '.join(map(title_of, failure.what))}") for failure in failures]
    for hour in hours:
        if hour.flow_mean_lpm is None:
            continue
        verdict, share = judge(hour, model), hour.flow_mean_lpm / model.rated_flow_lpm
        if verdict == ADEQUATE and share >= 1 - FLOW_SHARE:
            found.append((hour.at_ms, SHOWN, "readings at rated flow"))
        elif verdict == INADEQUATE and share <= 1 + FLOW_SHARE:
            found.append((hour.at_ms, NOT_GOOD, f"readings at {hour.flow_mean_lpm:.1f} L/min"))
    _, shown, by = max(found, key=lambda evidence: evidence[0])
    return shown, by


def ward_lines(data: MonthData, units: Sequence[UnitLine], tasks: Sequence[TaskLine]) -> list[WardLine]:
    """One line a ward, in the site file's order."""
    return [_ward_line(data, place, units, tasks) for place in data.places]


def _ward_line(data: MonthData, place: Ward, units: Sequence[UnitLine], tasks: Sequence[TaskLine]) -> WardLine:
    ward = place.id
    hours = data.fleet.wards[ward].availability
    warned = [one for one in data.warned if one.ward == ward and one.raised_ms is not None and one.fate != STANDS]
    due = [task for task in tasks if task.ward == ward]
    used = [unit.energy_kwh for unit in units if unit.ward == ward and unit.energy_kwh is not None]
    by_day = Counter(data.month.day_of(alarm.from_ms) for alarm in data.told[ward])
    return WardLine(
        ward=ward, title=place.title, units=hours.units, in_service_h=_h(hours.fleet_h), down_h=_h(hours.down_h),
        unknown_h=_h(hours.unknown_h), availability_pct=percent(hours.share), tasks_due=len(due),
        tasks_on_time=sum(task.outcome == ON_TIME for task in due), warnings=len(warned),
        acted_on=sum(one.acted_ms is not None for one in warned), alarms=len(data.told[ward]),
        alarms_a_day=round(len(data.told[ward]) / max(1, data.data_days), 2),
        most_alarms_in_a_day=max(by_day.values(), default=0), energy_kwh=_h(sum(used)) if used else None,
    )  # fmt: skip


def failure_lines(data: MonthData) -> list[FailureLine]:
    """Failures and repairs: of a ward, or of the fleet and each of its models."""
    fleet = data.fleet
    if data.ward is not None:
        return [_failure_line(data.places[0].title, fleet.wards[data.ward])]
    return [
        _failure_line("all units", fleet.fleet),
        *(_failure_line(f"model {m}", fleet.models[m]) for m in fleet.models),
    ]


def _failure_line(name: str, figures: Figures) -> FailureLine:
    between, repair = figures.mtbf, figures.repair
    return FailureLine(
        of=name, run_h=_h(figures.run_h), failures=figures.failures, mtbf_h=_maybe(between.mean_h),
        mtbf_low_h=_maybe(between.low_h), mtbf_high_h=_maybe(between.high_h), repaired=repair.repaired,
        answered_median_min=_maybe(repair.answer_median_min), repair_median_h=_maybe(repair.median_h),
        still_down=repair.waiting, again_within_30_days=figures.repeats,
    )  # fmt: skip


def day_lines(data: MonthData) -> list[DayLine]:
    """One line a day of the month, as far as it has come."""
    counts, used = data.alarms_by_day(), data.given_by_day()
    lines = []
    for day in data.month.days():
        heard, running_h, adequate_h = used.get(day, (0, 0.0, 0.0))
        lines.append(DayLine(day=day, heard=heard, low=counts[day, "low"], medium=counts[day, "medium"],
                             high=counts[day, "high"], running_h=_h(running_h), adequate_h=_h(adequate_h)))  # fmt: skip
    return lines


def percent(share: float | None) -> float | None:
    """A share as per cent, to two digits."""
    return None if share is None else round(100 * share, 2)


def _maybe(value: float | None) -> float | None:
    return None if value is None else _h(value)


def _h(value: float) -> float:
    return round(value, 2)
