"""The fleet's figures of a span: of every unit, model and ward, and of all together. Everything read is handed in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY, HOUR
from collector.rules.unitrow import UnitRow
from collector.service.alarm_load import AlarmLoad, load_of, raised_of
from collector.service.availability import Availability, availability_of, together
from collector.service.demand import WardDemand, ward_demand
from collector.service.episodes import OUT, STORE, Episode, episodes
from collector.service.failures import (
    Failure,
    Mtbf,
    Repair,
    answered,
    failures_of,
    inherent_availability,
    mtbf,
    repair_times,
)
from collector.service.given import Given
from collector.service.spans import Span
from collector.service.survival import Life, RunHours, Survival, kaplan_meier
from collector.site import Model, Site, Unit

#: Kinds of journal rows that figures are made of.
KINDS: tuple[str, ...] = (
    entries.CONDITION, entries.ACKNOWLEDGE, entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE, entries.WORK_OPENED,
    entries.WORK_CLOSED, entries.PURITY_PROOF, entries.SERVICE_HOURS,
)  # fmt: skip


class Record(msgspec.Struct, frozen=True, kw_only=True):
    """What figures are made from.

    rows: journal rows of KINDS from the start of the record up to now, in order of `seq`; given: each unit's over the
    window. window is from_ms <= time < to_ms, cut off at now_ms and begun no earlier than the record (since_ms).
    """

    site: Site
    rows: Sequence[JournalRow]
    units: Mapping[str, UnitRow]
    given: Mapping[str, Given]
    window: Span
    since_ms: int
    now_ms: int

    @property
    def span(self) -> Span:
        """The part of the window that is on record."""
        start = max(self.window[0], self.since_ms)
        return start, max(start, min(self.window[1], self.now_ms))


class Figures(msgspec.Struct, frozen=True, kw_only=True):
    """Figures of a unit, a model, a ward or the fleet.

    adequate_h, inadequate_h and unmeasured_h are hours that it ran, idle_h hours that it was off; adequate_share is of
    the hours with a purity reading. kwh is of power_h hours in which power was measured; cost in the site's currency.
    """

    name: str
    availability: Availability
    run_h: float
    adequate_h: float
    inadequate_h: float
    unmeasured_h: float
    idle_h: float
    kwh: float
    power_h: float
    cost: float
    failures: int
    repeats: int
    mtbf: Mtbf
    repair: Repair

    @property
    def adequate_share(self) -> float | None:
        """Hours of adequate purity among those that ran and were measured; None without any."""
        measured_h = self.adequate_h + self.inadequate_h
        return self.adequate_h / measured_h if measured_h > 0 else None

    @property
    def inherent(self) -> float | None:
        """Availability by MTBF and mean time to repair alone; None until something has failed and been repaired."""
        if self.mtbf.mean_h is None or self.repair.mean_h is None:
            return None
        return inherent_availability(self.mtbf.mean_h, self.repair.mean_h)


class Fleet(msgspec.Struct, frozen=True, kw_only=True):
    """All figures of a span; dictionaries by id. stored: units that the site file takes out of use."""

    span: Span
    currency: str
    fleet: Figures
    units: Mapping[str, Figures]
    models: Mapping[str, Figures]
    wards: Mapping[str, Figures]
    failures: tuple[Failure, ...]
    survival: Mapping[str, Survival]
    demand: Mapping[str, WardDemand]
    alarms: Mapping[str, AlarmLoad]
    stored: tuple[str, ...]


class _Unit(msgspec.Struct, frozen=True, kw_only=True):
    """One unit's share of everything."""

    unit: Unit
    model: Model
    availability: Availability
    given: Given
    run_h: float
    failures: tuple[Failure, ...]
    life: Life


def fleet_figures(record: Record) -> Fleet:
    """Every figure of the record's span."""
    site = record.site
    gone_through = episodes(record.rows)
    by_unit: dict[str, list[JournalRow]] = {}
    for row in record.rows:
        by_unit.setdefault(row.unit, []).append(row)
    parts = [_unit(record, unit, gone_through.get(unit.id, []), by_unit.get(unit.id, [])) for unit in site.units]
    rate = site.facility.electricity_cost_per_kwh
    models = sorted({part.model.id for part in parts})
    wards = {ward.id: [part for part in parts if (part.unit.ward or "unassigned") == ward.id] for ward in site.places()}
    of_wards = {ward: _figures(ward, found, rate) for ward, found in wards.items()}
    heard, out = raised_of(record.rows), _out_now(gone_through)
    return Fleet(
        span=record.span, currency=site.facility.currency, fleet=_figures("", parts, rate), wards=of_wards,
        units={part.unit.id: _figures(part.unit.id, [part], rate) for part in parts},
        models={model: _figures(model, [p for p in parts if p.model.id == model], rate) for model in models},
        failures=tuple(sorted((f for part in parts for f in part.failures), key=lambda f: (f.from_ms, f.unit))),
        survival={model: kaplan_meier(_lives(parts, model)) for model in models},
        demand={ward: ward_demand(site, ward, record.units, record.given, out, found.availability.share)
                for ward, found in of_wards.items()},
        alarms={ward: load_of(ward, heard.get(ward, []), record.span) for ward in wards},
        stored=tuple(part.unit.id for part in parts if part.unit.in_service is False),
    )  # fmt: skip


def _unit(record: Record, unit: Unit, items: Sequence[Episode], rows: Sequence[JournalRow]) -> _Unit:
    start, end = record.span
    given = record.given.get(unit.id, Given())
    zone = ZoneInfo(record.site.facility.timezone)
    failures = answered(failures_of(unit.id, items), rows)
    run = _run_hours(record, unit.id, rows)
    first = next((failure.from_ms for failure in failures if run.covers(failure.from_ms)), None)
    return _Unit(
        unit=unit, model=record.site.model_of(unit.id), given=given, run_h=run.between(start, end),
        availability=availability_of(unit, items, given.seen, record.span, zone),
        failures=tuple(failure for failure in failures if start <= failure.from_ms < end),
        life=Life(unit.id, run.until(first if first is not None else record.now_ms), first is not None),
    )  # fmt: skip


def _run_hours(record: Record, unit: str, rows: Sequence[JournalRow]) -> RunHours:
    """Run hours from the daily rows and the unit's row of now."""
    points = {
        row.at_ms: float(row.body.get("observed_h", 0.0)) + float(row.body.get("inferred_h", 0.0))
        for row in rows
        if row.kind == entries.SERVICE_HOURS
    }
    row = record.units.get(unit)
    if row is not None and row.last_ms is not None:
        points[row.last_ms] = row.observed_h + row.inferred_h
    if not points:
        return RunHours({})
    if _began_anew(points, record.since_ms):
        points[record.since_ms] = 0.0
    first_ms = min(points)
    begins_ms = first_ms - DAY if record.since_ms > first_ms else max(record.since_ms, first_ms - DAY)
    return RunHours({begins_ms: max(0.0, points[first_ms] - (first_ms - begins_ms) / HOUR), **points})


def _began_anew(points: Mapping[int, float], at_ms: int) -> bool:
    """Whether a count that was kept before a moment begins again after it."""
    before, after = [ms for ms in points if ms < at_ms], [ms for ms in points if ms > at_ms]
    return bool(before and after) and points[min(after)] < points[max(before)]


def _figures(name: str, parts: Sequence[_Unit], cost_per_kwh: float) -> Figures:
    failures = [failure for part in parts for failure in part.failures]
    run_h, kwh = sum(part.run_h for part in parts), sum(part.given.kwh for part in parts)
    return Figures(
        name=name, availability=together(part.availability for part in parts), run_h=run_h,
        adequate_h=sum(part.given.adequate_h for part in parts),
        inadequate_h=sum(part.given.inadequate_h for part in parts),
        unmeasured_h=sum(part.given.unmeasured_h for part in parts), idle_h=sum(part.given.idle_h for part in parts),
        kwh=kwh, power_h=sum(part.given.power_h for part in parts), cost=kwh * cost_per_kwh,
        failures=len(failures), repeats=sum(failure.repeat for failure in failures),
        mtbf=mtbf(run_h, len(failures)), repair=repair_times(failures),
    )  # fmt: skip


def _lives(parts: Sequence[_Unit], model: str) -> list[Life]:
    """Units of a model that have run at all."""
    return [part.life for part in parts if part.model.id == model and (part.life.run_h > 0 or part.life.failed)]


def _out_now(gone_through: Mapping[str, Sequence[Episode]]) -> set[str]:
    return {
        unit
        for unit, items in gone_through.items()
        if any(item.what in (OUT, STORE) and item.to_ms is None for item in items)
    }
