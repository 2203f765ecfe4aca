"""`sieveward plan`: visits for the next weeks, on screen, as CSV, as a calendar, and as lists to hang up."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Final
from zoneinfo import ZoneInfo

import msgspec
import typer
from rich.console import Console
from rich.table import Table

from collector.backup.known import Known as KnownBackup
from collector.backup_watch import DOCUMENT
from collector.cli.known import Known, known
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.cli.tables import write_csv
from collector.dues import record_now
from collector.service.agreed import agreed_visits
from collector.service.calendar_file import calendar_file
from collector.service.due import dues_of
from collector.service.stock import stock_of
from collector.service.supply import ward_supplies
from collector.service.visits import SECONDS, Plan, Visit, plan_visits
from collector.service.week_list import clock, week_lists
from collector.site import Site
from collector.store.history import status

_WIDTH: Final = 150  # of tables that go into a file
_COLUMNS: Final = ("day", "time", "unit", "ward", "work", "min", "out", "state")
_WAITING: Final = ("due", "planned", "unit", "task", "why it waits")


class PlanLine(msgspec.Struct, frozen=True, kw_only=True):
    """One task of the plan or one that waits, for a CSV file; day "" when it has none in these weeks."""

    day: str
    start: str
    visit: str
    unit: str
    ward: str
    task: str
    title: str
    due: str
    late_days: int
    minutes: int | None
    takes_unit_out: bool | None
    parts: tuple[str, ...]
    state: str
    why_it_waits: str


def plan_command(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    weeks: Annotated[int, typer.Option(metavar="N", min=1, max=26, help="How many weeks ahead.")] = 4,
    first: Annotated[str | None, typer.Option("--from", metavar="DAY", help="The first day; else tomorrow.")] = None,
    seconds: Annotated[float, typer.Option(min=0.1, max=600, help="How long to look for better plans.")] = SECONDS,
    csv: Annotated[Path | None, typer.Option(metavar="FILE", help="Write tasks and what waits as CSV.")] = None,
    ics: Annotated[Path | None, typer.Option(metavar="FILE", help="Write visits as iCalendar.")] = None,
    printed: Annotated[Path | None, typer.Option("--print", metavar="FILE", help="Write week lists as HTML.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """Plan visits for the next weeks within hours, parts, quiet hours and what each ward can spare.

    Visits that people locked or moved stand. Nothing is written down: lock a visit on the dashboard to keep it.
    Example: sieveward plan --data data --weeks 4 --print weeks.html --ics visits.ics
    """
    with known(data, site_file) as now:
        plan = _plan(now, _first_day(now, first), weeks, seconds)
        site, now_ms = now.site, now.now_ms
    _write(site, plan, csv, ics, printed, now_ms)
    if as_json:
        say_json({"facility": site.facility.id, **msgspec.to_builtins(plan)})
        return
    _show(site, plan)


def _first_day(now: Known, text: str | None) -> date:
    if text is None:
        zone = ZoneInfo(now.site.facility.timezone)
        return datetime.fromtimestamp(now.now_ms / 1000, zone).date() + timedelta(days=1)
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise Refused(f"'{text}' is no day; write it as 2026-11-30") from error


def _plan(now: Known, first: date, weeks: int, seconds: float) -> Plan:
    rows = now.rows()
    stock = {part: max(0, one.have) for part, one in stock_of(now.site, rows).items()}
    removed = (status(now.conn, "out_of_service") or {}).get("units", ())
    supply = ward_supplies(now.site, now.units, now.now_ms, _gas_l(now), removed)
    dues = dues_of(now.site, record_now(now.conn, now.site), now.units, now.now_ms)
    return plan_visits(now.site, dues, supply, stock, first, weeks, agreed_visits(rows), seconds=seconds)


def _gas_l(now: Known) -> dict[str, float]:
    """Litres of each ward's cylinders that can be changed over to; none of a ward that nobody has judged."""
    try:
        told = msgspec.convert(status(now.conn, DOCUMENT) or {}, KnownBackup).wards
    except msgspec.ValidationError:  # of another version: the collector judges anew when it starts
        return {}
    return {ward: sum(c.usable_l for c in one.cylinders if c.good(now.now_ms)) for ward, one in told.items()}


def _write(site: Site, plan: Plan, csv: Path | None, ics: Path | None, printed: Path | None, now_ms: int) -> None:
    try:
        if csv is not None:
            write_csv(csv, PlanLine, [*_lines(plan), *_waiting(plan)])
        if ics is not None:
            ics.write_bytes(calendar_file(site, plan, now_ms))
        if printed is not None:
            printed.write_text(week_lists(site, plan), encoding="utf-8")
    except OSError as error:
        raise Refused(f"{error.filename} cannot be written: {error.strerror}", EXIT_FAILED) from error


def _lines(plan: Plan) -> Iterator[PlanLine]:
    said = {(one.unit, one.task, one.due): one.said for one in plan.deferred}
    for visit in plan.visits:
        for task in visit.tasks:
            yield PlanLine(
                day=visit.day.isoformat(), start="" if visit.start_min is None else clock(visit.start_min),
                visit=visit.visit, unit=visit.unit, ward=visit.ward, task=task.task, title=task.title,
                due=task.due.isoformat(), late_days=task.late_days, minutes=task.minutes,
                takes_unit_out=task.takes_unit_out, parts=tuple(f"{n} {part}" for part, n in task.parts.items()),
                state=visit.state, why_it_waits=said.get((visit.unit, task.task, task.due), ""),
            )  # fmt: skip


def _waiting(plan: Plan) -> Iterator[PlanLine]:
    for one in plan.deferred:
        if one.day is None:
            yield PlanLine(day="", start="", visit="", unit=one.unit, ward=one.ward, task=one.task, title=one.title,
                           due=one.due.isoformat(), late_days=0, minutes=None, takes_unit_out=None, parts=(),
                           state="waits", why_it_waits=one.said)  # fmt: skip


def _show(site: Site, plan: Plan) -> None:
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = _WIDTH
    visits = Table(*_COLUMNS, title=f"{site.facility.name or site.facility.id}: visits, {plan.weeks} weeks from "
                                    f"{plan.first.isoformat()}")  # fmt: skip
    for visit in plan.visits:
        visits.add_row(*_row(site, visit))
    console.print(visits)
    if plan.deferred:
        waiting = Table(*_WAITING, title="Late or waiting")
        for one in plan.deferred:
            waiting.add_row(one.due.isoformat(), one.day.isoformat() if one.day else "not in these weeks", one.unit,
                            one.title, one.said)  # fmt: skip
        console.print(waiting)
    say(_summary(plan))
    for part, count in plan.orders.items():
        say_error(f"the plan needs {count} more of {part} than are in stock; order them now")


def _row(site: Site, visit: Visit) -> tuple[str, ...]:
    work = "; ".join(task.title + (f" ({task.late_days} d late)" if task.late_days else "") for task in visit.tasks)
    work += "".join(f"; CAUTION: {said}" for said in visit.cautions)
    out = f"{visit.out_min} min" if visit.out_min else "stays on"
    return (visit.day.isoformat(), clock(visit.start_min), visit.unit, site.ward(visit.ward).title, work,
            str(visit.minutes), out, visit.state)  # fmt: skip


def _summary(plan: Plan) -> str:
    mine, plain = plan.score, plan.by_due_date
    best = "the best there is" if plan.optimal else f"at most {plan.gap:.1%} from the best there is"
    best += " of plans that keep tasks far from their due dates to weekdays" if plan.narrow else ""
    return (
        f"{mine.visits} visits on {mine.trips} ward trips, {mine.missed} due dates missed, {mine.unplanned} tasks left "
        f"out; by due date alone {plain.visits}, {plain.trips}, {plain.missed} and {plain.unplanned}; {best}"
    )
