"""The fleet's figures as rows and tiles; pure. A share stands beside what it is a share of."""

from __future__ import annotations

from collections.abc import Mapping

from collector.service.alarm_load import AlarmLoad
from collector.service.demand import WardDemand
from collector.service.failures import Failure
from collector.service.reliability import Figures, Fleet
from collector.service.survival import Survival
from dashboard import fleet_words as words
from dashboard import words as common_words
from dashboard.orders import ward_title
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.stockroom import money
from dashboard.times import lasted_text, moment_text
from dashboard.words import NOT_MEASURED


def head_figures(found: Fleet, currency: str) -> list[tuple[str, str]]:
    """The figures that come first."""
    one = found.fleet
    return [
        (words.AVAILABLE, percent(one.availability.share)), (words.ADEQUATE, percent(one.adequate_share)),
        (words.FAILURES, f"{one.failures}"), (words.RUN_HOURS, number(one.run_h)),
        (words.MTBF, number(one.mtbf.mean_h) if one.failures else _interval(one) or NOT_MEASURED),
        (words.REPAIR, number(one.repair.median_h)),
        (words.ENERGY, number(one.kwh)), (words.COST, money(one.cost, currency)),
    ]  # fmt: skip


def hours_rows(found: Fleet, now: Now) -> list[Row]:
    """Availability and adequate purity: of all, of each model, of each ward."""
    return [
        (name, percent(up.share), f"{percent(up.least)} to {percent(up.most)}", number(up.up_h), number(up.down_h),
         number(up.unknown_h), Cell(percent(one.adequate_share), note=words.of_hours(number(measured_h(one)))),
         number(one.kwh))
        for name, one in _lines(found, now) for up in (one.availability,)
    ]  # fmt: skip


def failure_rows(found: Fleet, now: Now) -> list[Row]:
    """Failures, the run hours between them, time to repair."""
    return [
        (name, number(one.run_h), str(one.failures),
         Cell(number(one.mtbf.mean_h), note=_interval(one)),
         Cell(number(one.repair.median_h), note=words.repaired(one.repair.repaired)), str(one.repair.waiting),
         str(one.repeats))
        for name, one in _lines(found, now)
    ]  # fmt: skip


def each_failure(failures: tuple[Failure, ...], now: Now, now_ms: int) -> list[Row]:
    """Every failure of the span, the newest first."""
    return [
        (Cell(one.unit, one.unit), moment_text(one.from_ms, now_ms, now.zone),
         common_words.CAUSE_TITLES.get(one.cause, one.cause),
         words.LASTS if one.to_ms is None else lasted_text(one.to_ms - one.from_ms),
         NOT_MEASURED if one.answer_min is None else f"{one.answer_min:.0f} min", words.AGAIN if one.repeat else "")
        for one in reversed(failures)
    ]  # fmt: skip


def survival_rows(found: Mapping[str, Survival]) -> list[Row]:
    """Run hours until units of a model first fail."""
    return [
        (model, str(one.units), str(one.failed), number(one.median_h),
         words.without_failure(percent(one.points[-1].survival if one.points else 1.0), number(one.longest_h)))
        for model, one in found.items()
    ]  # fmt: skip


def demand_rows(found: Mapping[str, WardDemand], now: Now) -> list[Row]:
    """Each ward's flow against what its units are known to hold."""
    return [
        (ward_title(now, ward), _flow(one.median_lpm), _flow(one.peak_lpm), _flow(one.known_lpm),
         Cell(_flow(one.spare_lpm), mark="late" if one.spare_lpm < 0 else ""), str(len(one.unproven)))
        for ward, one in found.items()
    ]  # fmt: skip


def _flow(lpm: float | None) -> str:
    return NOT_MEASURED if lpm is None else f"{lpm:.1f}"


def alarm_rows(found: Mapping[str, AlarmLoad], now: Now) -> list[Row]:
    """What each ward's nurses heard."""
    return [
        (ward_title(now, ward), str(one.alarms), f"{one.per_day:.1f}", str(one.most_in_10_min), str(one.floods),
         str(len(one.stale)), str(len(one.chattering)), _within(one))
        for ward, one in found.items()
    ]  # fmt: skip


def _interval(one: Figures) -> str:
    low_h, high_h = one.mtbf.low_h, one.mtbf.high_h
    return "" if low_h is None else words.sure(number(low_h), None if high_h is None else number(high_h))


def _within(one: AlarmLoad) -> Cell:
    over = [name for name, met in one.within.items() if not met]
    return Cell(words.not_within(over), mark="late") if over else Cell(words.WITHIN)


def _lines(found: Fleet, now: Now) -> list[tuple[str, Figures]]:
    return [(words.ALL, found.fleet), *found.models.items(),
            *((ward_title(now, ward), one) for ward, one in found.wards.items())]  # fmt: skip


def measured_h(one: Figures) -> float:
    """Hours in which purity was measured while it ran."""
    return one.adequate_h + one.inadequate_h


def percent(share: float | None) -> str:
    """A share; a dash where there is none."""
    return NOT_MEASURED if share is None else f"{100 * share:.1f} %"


def number(value: float | None) -> str:
    """A number as short as it may be; a dash where there is none."""
    return NOT_MEASURED if value is None else f"{value:,.0f}" if abs(value) >= 10 else f"{value:.1f}"
