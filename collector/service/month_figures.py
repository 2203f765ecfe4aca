"""The figures of a month's first page, what they come to in sentences, and what the data do not say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import median
from typing import Final

from collector.service.month_data import MonthData
from collector.service.month_units import NOT_GOOD, NOT_SHOWN, SHOWN, percent
from collector.service.report_lines import ON_TIME, Figure, NeedLine, PartLine, TaskLine, UnitLine
from collector.service.warned import ENDED, SHUT_OFF_FIRST, STANDS

#: Planned maintenance done on time: target of the trade (from memory).
ON_TIME_AIM_PCT: Final = 90.0
#: EEMUA 191: acceptable alarms a day of one operator (second-hand source); a ward is one operator.
ALARMS_AIM_A_DAY: Final = 150.0
NONE: Final = "none"


def figures(
    data: MonthData, units: Sequence[UnitLine], tasks: Sequence[TaskLine], parts: Sequence[PartLine]
) -> list[Figure]:
    """The eight figures, each with what it is counted of."""
    return [
        _on_time(data, tasks), _functional(data, units), _availability(data), _acted_on(data), _answered(data),
        _alarms(data), _energy(data, units), _orders(data, parts),
    ]  # fmt: skip


def _on_time(data: MonthData, tasks: Sequence[TaskLine]) -> Figure:
    whose = {"engineers'": [task for task in tasks if task.by != "ward"],
             "wards'": [task for task in tasks if task.by == "ward"]}  # fmt: skip
    said = [f"{_on_time_of(own)} of {len(own)} of the {name}" for name, own in whose.items() if own]
    value = percent(_on_time_of(tasks) / len(tasks)) if tasks else None
    says = "; ".join(said) + " tasks that were due" if said else "no task was due"
    return Figure(
        key="maintenance_on_time", title="Maintenance done on time", value=value, sign="%", part=_on_time_of(tasks),
        says=says if data.has_record else "no record of this month", whole=len(tasks), aim=f"{ON_TIME_AIM_PCT:g} %",
        met=None if value is None else value >= ON_TIME_AIM_PCT, empty=NONE if data.has_record else "no data",
    )  # fmt: skip


def _on_time_of(tasks: Iterable[TaskLine]) -> int:
    return sum(task.outcome == ON_TIME for task in tasks)


def _functional(data: MonthData, units: Sequence[UnitLine]) -> Figure:
    used = _in_use(data, units)
    good, bad, not_shown = (sum(unit.functional == what for unit in used) for what in (SHOWN, NOT_GOOD, NOT_SHOWN))
    value = percent(good / len(used)) if good + bad else None
    says = f"{good} of {len(used)} units shown good at rated flow; {bad} not good, {not_shown} not checked"
    return Figure(key="functional", title="Functional at rated flow", value=value, sign="%", says=says, part=good,
                  whole=len(used))  # fmt: skip


def _in_use(data: MonthData, units: Sequence[UnitLine]) -> list[UnitLine]:
    """Units that the site file has in use: the inventory that counts."""
    stored = set(data.fleet.stored)
    return [unit for unit in units if unit.unit not in stored]


def _availability(data: MonthData) -> Figure:
    hours = data.fleet.fleet.availability if data.ward is None else data.fleet.wards[data.ward].availability
    known_h = hours.up_h + hours.down_h
    says = f"{_n(hours.up_h)} of {_n(known_h)} unit-hours known; {_n(hours.unknown_h)} more unknown"
    if hours.unknown_h and hours.least is not None and hours.most is not None:
        says += f": {100 * hours.least:.0f} to {100 * hours.most:.0f} % with them"
    return Figure(key="availability", title="Availability", value=percent(hours.share), sign="%", says=says,
                  part=round(hours.up_h, 2), whole=round(known_h, 2))  # fmt: skip


def _acted_on(data: MonthData) -> Figure:
    warned = [one for one in data.warned if one.raised_ms is not None and one.fate != STANDS]
    unwarned = sum(one.raised_ms is None for one in data.warned)
    acted = sum(one.acted_ms is not None for one in warned)
    missed, ended = (sum(one.fate == fate for one in warned) for fate in (SHUT_OFF_FIRST, ENDED))
    says = f"{acted} of {len(warned)} warnings; {missed} shut off before anybody acted, {ended} ended by themselves"
    says = says if data.warned else "no warning and no shut-off"
    says += f"; {unwarned} shut-offs without a warning" if unwarned else ""
    return Figure(key="warnings_acted_on", title="Warnings acted on in time", sign="%", part=acted,
                  value=percent(acted / len(warned)) if warned else None, says=says, whole=len(warned),
                  empty=NONE if data.data_days else "no data")  # fmt: skip


def _answered(data: MonthData) -> Figure:
    times = [alarm.answer_min for alarm in data.answerable if alarm.answer_min is not None]
    says = f"median, medium and high alarms of wards; {len(times)} of {len(data.answerable)} were acknowledged"
    return Figure(key="answered_min", title="Alarm to acknowledgement", sign="min", says=says, part=len(times),
                  value=round(median(times), 2) if times else None, whole=len(data.answerable),
                  empty="never" if data.answerable else NONE if data.data_days else "no data")  # fmt: skip


def _alarms(data: MonthData) -> Figure:
    total, ward_days = sum(map(len, data.told.values())), len(data.places) * data.data_days
    value = round(total / ward_days, 2) if ward_days else None
    by_ward = (data.alarms_by_day(place.id) for place in data.places)
    most = max((sum(n for (on, _), n in counts.items() if on == day) for counts in by_ward for day, _ in counts),
               default=0)  # fmt: skip
    says = f"{total} alarms, {_n(ward_days)} ward-days with readings; at most {most} in one"
    return Figure(key="alarms_a_ward_and_day", title="Alarms a ward and day", value=value, sign="", part=total,
                  whole=ward_days, says=says, aim=f"{ALARMS_AIM_A_DAY:g} at most",
                  met=None if value is None else most <= ALARMS_AIM_A_DAY)  # fmt: skip


def _energy(data: MonthData, units: Sequence[UnitLine]) -> Figure:
    used = [unit.energy_kwh for unit in units if unit.energy_kwh is not None]
    measured_h = sum(data.given[unit.unit].power_h for unit in units)
    each = data.site.facility.electricity_cost_per_kwh
    cost = f"; {_n(sum(used) * each)} {data.site.facility.currency}".rstrip() if each else ""
    return Figure(key="energy_kwh", title="Energy", value=round(sum(used), 2) if used else None, sign="kWh",
                  says=f"measured at {len(used)} of {len(units)} units over {_n(measured_h)} unit-hours{cost}",
                  part=len(used), whole=len(units))  # fmt: skip


def _orders(data: MonthData, parts: Sequence[PartLine]) -> Figure:
    to_order = [part for part in parts if part.to_order]
    cost = sum(part.order_cost or 0.0 for part in to_order)
    says = f"{len(to_order)} of {len(parts)} parts to be ordered" if parts else "the site file names no parts"
    return Figure(key="parts_to_order", title="Parts to order", value=round(cost, 2) if parts else None,
                  sign=data.site.facility.currency, says=says, part=len(to_order), whole=len(parts))  # fmt: skip


def in_short(
    data: MonthData, made: Sequence[Figure], units: Sequence[UnitLine], needs: Sequence[NeedLine]
) -> list[str]:
    """What a director must know, in sentences; the worst first."""
    by_key = {figure.key: figure for figure in made}
    said = []
    if not data.data_days:
        said.append(
            "No readings of this month are on record: what units gave and how available they were is not known."
        )
    missed = [one.unit for one in data.warned if one.fate == SHUT_OFF_FIRST and one.raised_ms is not None]
    unwarned = [one.unit for one in data.warned if one.raised_ms is None]
    if missed:
        said.append(f"{_times(len(missed), 'unit')} shut off before anybody acted on the warning: {_some(missed)}.")
    if unwarned:
        said.append(f"{_times(len(unwarned), 'shut-off')} came without a warning: {_some(unwarned)}.")
    bad = [unit.unit for unit in _in_use(data, units) if unit.functional == NOT_GOOD]
    if bad:
        said.append(f"{_times(len(bad), 'unit')} in use failed and not shown good since: {_some(bad)}.")
    if by_key["maintenance_on_time"].met is False:
        said.append(f"Maintenance on time is below its aim: {by_key['maintenance_on_time'].says}.")
    not_shown = sum(unit.functional == NOT_SHOWN for unit in _in_use(data, units))
    if not_shown:
        said.append(f"{_times(not_shown, 'unit')} in use not checked at rated flow this month: how good is not known.")
    if needs:
        said.append(f"{_times(len(needs), 'thing')} to decide on or pay for, below.")
    return said or ["Nothing stands out: no unwarned shut-off, maintenance on time, every unit shown good."]


def gaps(data: MonthData, units: Sequence[UnitLine]) -> list[str]:
    """What is missing in the data, in sentences."""
    month, days = data.month, len(data.month.days())
    found = []
    if not month.is_over:
        found.append(f"The month is not over: this is its first {_times(days, 'day')}, the last not whole.")
    if data.data_days < days:
        found.append(f"Readings are on record for {data.data_days} of {days} days.")
    unknown_h, whole_h = (sum(getattr(unit, name) for unit in units) for name in ("unknown_h", "in_service_h"))
    if whole_h and unknown_h:
        found.append(f"{100 * unknown_h / whole_h:.0f} % of in-service unit-hours are unknown: no readings came.")
    never = [unit.unit for unit in _in_use(data, units) if not data.hours.get(unit.unit)]
    if never and data.data_days:
        found.append(f"No reading at all of {_some(never)}.")
    return found


def _some(names: Sequence[str], most: int = 4) -> str:
    shown = list(dict.fromkeys(names))
    return ", ".join(shown[:most]) + (f" and {len(shown) - most} more" if len(shown) > most else "")


def _times(n: int, what: str) -> str:
    return f"{n} {what}" if n == 1 else f"{n} {what}s"


def _n(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ")
