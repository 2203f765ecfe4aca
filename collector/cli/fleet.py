"""`sieveward fleet`: how reliable the fleet was over a span, with what each figure is a share of."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Annotated, Any, Final, TypeVar

import msgspec
import typer
from rich.console import Console
from rich.table import Table

from collector.cli.export import LAST_MS, moment
from collector.cli.known import known
from collector.cli.says import say_json
from collector.reading import iso_utc
from collector.rules.limits import DAY
from collector.service.alarm_load import AlarmLoad
from collector.service.demand import WardDemand
from collector.service.reliability import Figures, Fleet, fleet_figures
from collector.service.survival import Survival
from collector.store.fleet import fleet_record

_WIDTH: Final = 160  # of tables that go into a file
_DAYS: Final = 30
_NOTHING: Final = "–"
T = TypeVar("T")


def fleet_command(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    since: Annotated[str | None, typer.Option("--from", help="From this moment on (RFC 3339); else 30 days.")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Before this moment.")] = None,
    units: Annotated[bool, typer.Option("--units", help="A line for each unit too.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """Show availability, failures, time to repair, energy, demand and alarm load of the fleet, its models and wards.

    Availability is of the hours that are known; the range beside it is what it would be if all unknown hours had been
    down, and up. Example: sieveward fleet --data data --from 2026-10-01T00:00:00Z --to 2026-11-01T00:00:00Z
    """
    with known(data, site_file) as now:
        window = (moment(since, now.now_ms - _DAYS * DAY), moment(until, LAST_MS))
        found = fleet_figures(fleet_record(now.conn, now.site, window, now.now_ms))
    if as_json:
        say_json(_fields(found))
    else:
        _show(found, units)


def _fields(found: Fleet) -> dict[str, Any]:
    """Everything as builtins, with what is worked out from it."""
    whole: dict[str, Any] = msgspec.to_builtins(found)
    whole["from"], whole["to"] = (iso_utc(ms) for ms in whole.pop("span"))
    pairs = [(whole["fleet"], found.fleet)]
    for kind in ("units", "models", "wards"):
        pairs += [(whole[kind][name], figures) for name, figures in getattr(found, kind).items()]
    for fields, figures in pairs:
        up = figures.availability
        fields["availability"] |= {"share": up.share, "least": up.least, "most": up.most, "fleet_h": up.fleet_h}
        fields |= {"adequate_share": figures.adequate_share, "inherent": figures.inherent}
    for ward, load in found.alarms.items():
        whole["alarms"][ward]["within"] = dict(load.within)
    return whole


def _show(found: Fleet, units: bool) -> None:
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = _WIDTH
    start, end = found.span
    title = f"{iso_utc(start)} to {iso_utc(end)}, {found.fleet.availability.units} units, {len(found.stored)} not used"
    title += f", costs in {found.currency}" if found.currency else ""
    lines = [("all", found.fleet), *((f"model {name}", one) for name, one in found.models.items()),
             *((f"ward {name}", one) for name, one in found.wards.items())]  # fmt: skip
    lines += [(f"unit {name}", one) for name, one in found.units.items()] if units else []
    console.print(_table(title, _HOURS, lines))
    console.print(_table("Failures", _FAILURES, lines))
    console.print(_table("First failure, by run hours on record", _SURVIVAL, found.survival.items()))
    console.print(_table("Demand of wards", _DEMAND, found.demand.items()))
    console.print(_table("Alarms told to wards", _ALARMS, found.alarms.items()))


def _table(title: str, columns: Sequence[tuple[str, Callable[[T], str]]], lines: Iterable[tuple[str, T]]) -> Table:
    table = Table(title=title)
    table.add_column("")
    for name, _ in columns:
        table.add_column(name, justify="right")
    for name, one in lines:
        table.add_row(name, *(show(one) for _, show in columns))
    return table


def _percent(share: float | None) -> str:
    return _NOTHING if share is None else f"{share:.1%}"


def _number(value: float | None) -> str:
    return _NOTHING if value is None else f"{value:,.0f}" if abs(value) >= 10 else f"{value:.1f}"


def _between(low: float | None, high: float | None) -> str:
    return f"{_number(low)} to {_number(high)}"


_HOURS: Final[tuple[tuple[str, Callable[[Figures], str]], ...]] = (
    ("available", lambda f: _percent(f.availability.share)),
    ("range", lambda f: f"{_percent(f.availability.least)} to {_percent(f.availability.most)}"),
    ("up, h", lambda f: _number(f.availability.up_h)),
    ("down, h", lambda f: _number(f.availability.down_h)),
    ("unknown, h", lambda f: _number(f.availability.unknown_h)),
    ("purity adequate", lambda f: _percent(f.adequate_share)),
    ("of measured, h", lambda f: _number(f.adequate_h + f.inadequate_h)),
    ("energy, kWh", lambda f: _number(f.kwh)),
    ("cost", lambda f: _number(f.cost)),
)
_FAILURES: Final[tuple[tuple[str, Callable[[Figures], str]], ...]] = (
    ("run, h", lambda f: _number(f.run_h)),
    ("failures", lambda f: str(f.failures)),
    ("run h a failure", lambda f: _number(f.mtbf.mean_h)),
    ("90 % sure", lambda f: _between(f.mtbf.low_h, f.mtbf.high_h)),
    ("repaired", lambda f: str(f.repair.repaired)),
    ("median repair, h", lambda f: _number(f.repair.median_h)),
    ("median answer, min", lambda f: _number(f.repair.answer_median_min)),
    ("still down", lambda f: str(f.repair.waiting)),
    ("again in 30 days", lambda f: str(f.repeats)),
)
_SURVIVAL: Final[tuple[tuple[str, Callable[[Survival], str]], ...]] = (
    ("units", lambda s: str(s.units)),
    ("failed", lambda s: str(s.failed)),
    ("half by, h", lambda s: _number(s.median_h)),
    ("without failure", lambda s: _percent(s.points[-1].survival) if s.points else _percent(1.0)),
    ("after, h", lambda s: _number(s.longest_h)),
)
_DEMAND: Final[tuple[tuple[str, Callable[[WardDemand], str]], ...]] = (
    ("units", lambda d: str(d.units)),
    ("median, L/min", lambda d: _number(d.median_lpm)),
    ("95 %", lambda d: _number(d.p95_lpm)),
    ("peak", lambda d: _number(d.peak_lpm)),
    ("known to hold", lambda d: _number(d.known_lpm)),
    ("spare at peak", lambda d: _number(d.spare_lpm)),
    ("not proven", lambda d: str(len(d.unproven))),
    ("most at once", lambda d: str(d.most_units)),
    ("enough up", lambda d: _percent(d.enough)),
)
_ALARMS: Final[tuple[tuple[str, Callable[[AlarmLoad], str]], ...]] = (
    ("alarms", lambda a: str(a.alarms)),
    ("a day", lambda a: _number(a.per_day)),
    ("in 10 min", lambda a: f"{a.per_10_min:.3f}"),
    ("most in 10 min", lambda a: str(a.most_in_10_min)),
    ("floods", lambda a: str(a.floods)),
    ("in flood", lambda a: _percent(a.flood_share)),
    ("stale", lambda a: str(len(a.stale))),
    ("chattering", lambda a: str(len(a.chattering))),
    ("low/medium/high", lambda a: "/".join(f"{share:.0%}" for share in a.priorities.values())),
    ("not within", lambda a: ", ".join(name for name, met in a.within.items() if not met) or "all within"),
)
