"""`sieveward due`: what is due on the units, and when."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Final
from zoneinfo import ZoneInfo

import msgspec
import typer
from rich.console import Console
from rich.table import Table

from collector.cli.known import Known, known
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.cli.tables import write_csv
from collector.dues import record_now
from collector.reading import iso_utc
from collector.rules.limits import DAY
from collector.service.due import DueTask, dues_of

_WIDTH: Final = 150  # of tables that go into a file
_COLUMNS: Final = ("due", "between", "unit", "ward", "task", "by", "last done", "not done")


class DueLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line for a program or a CSV file; times RFC 3339 in UTC, due_latest "" beyond the horizon."""

    unit: str
    ward: str
    task: str
    title: str
    why: str
    sign: str
    due: str
    due_earliest: str
    due_latest: str
    overdue: bool
    run_h: float | None
    last_done: str
    could_not_locate: int
    put_off: int
    minutes: float | None
    parts: tuple[str, ...]
    takes_unit_out: bool
    proof: bool
    by: str
    mark: str


def due_command(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    days: Annotated[float, typer.Option(metavar="N", min=0, help="What may be due within so many days.")] = 30.0,
    ward: Annotated[str | None, typer.Option(help="Only this ward's units.")] = None,
    unit: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the list as CSV there too.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """List what is due on each unit by its run hours, the calendar or a sign, whichever comes first; overdue first.

    "due" is the likeliest day, "between" nine chances in ten by the unit's own use. Times are the facility's.
    Example: sieveward due --data data --days 14 --ward newborn
    """
    with known(data, site_file) as now:
        _check(now, ward, unit)
        dues = dues_of(now.site, record_now(now.conn, now.site), now.units, now.now_ms)
    until_ms = now.now_ms + days * DAY
    dues = [one for one in dues if one.due_ms.p05 <= until_ms and ward in (None, one.ward) and unit in (None, one.unit)]
    if out is not None:
        try:
            write_csv(out, DueLine, map(_line, dues))
        except OSError as error:
            raise Refused(f"{out} cannot be written: {error.strerror}", EXIT_FAILED) from error
    if as_json:
        say_json(
            {"facility": now.site.facility.id, "at": iso_utc(now.now_ms), "days": days, "due": [*map(_line, dues)]}
        )
        return
    _show(now, dues, days)


def _check(now: Known, ward: str | None, unit: str | None) -> None:
    wards = [place.id for place in now.site.places()]
    if ward is not None and ward not in wards:
        raise Refused(f"no ward '{ward}'; there are {', '.join(wards)}")
    if unit is not None and now.site.unit(unit) is None:
        raise Refused(f"no unit '{unit}' in the site file")


def _line(due: DueTask) -> DueLine:
    fields: dict[str, Any] = {name: getattr(due, name) for name in DueLine.__struct_fields__ if hasattr(due, name)}
    moments = due.due_ms
    return DueLine(
        **fields, due=iso_utc(moments.p50), due_earliest=iso_utc(moments.p05),
        due_latest="" if moments.p95 is None else iso_utc(moments.p95),
        last_done="" if due.last_done_ms is None else iso_utc(due.last_done_ms),
    )  # fmt: skip


def _show(now: Known, dues: list[DueTask], days: float) -> None:
    zone = ZoneInfo(now.site.facility.timezone)
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = _WIDTH
    table = Table(title=f"{now.site.facility.name or now.site.facility.id}: due within {days:g} days")
    for column in _COLUMNS:
        table.add_column(column)
    for due in dues:
        table.add_row(*_row(due, zone, now.now_ms))
    if dues:
        console.print(table)
    late = sum(due.overdue for due in dues)
    say(f"{len(dues)} tasks on {len({due.unit for due in dues})} units, {late} overdue" if dues
        else f"nothing is due within {days:g} days")  # fmt: skip
    if any(due.mark for due in dues):
        say_error("models without [[model.task]] have default intervals, each with its source in --json: a unit's own "
                  "manual overrides them")  # fmt: skip


def _row(due: DueTask, zone: ZoneInfo, now_ms: int) -> tuple[str, ...]:
    moments = due.due_ms
    late = f"{_day(moments.p50, zone)}, {max(0, (now_ms - moments.p50) // DAY)} d over"
    between = f"{_day(moments.p05, zone)} to {_day(moments.p95, zone) if moments.p95 else 'later'}"
    missed = [
        f"{count} × {what}" for count, what in ((due.could_not_locate, "not found"), (due.put_off, "put off")) if count
    ]
    return (
        late if due.overdue else _day(moments.p50, zone), "" if moments.p05 == moments.p95 else between, due.unit,
        due.ward, due.title, due.sign or due.why, _day(due.last_done_ms, zone) if due.last_done_ms else "no record",
        ", ".join(missed),
    )  # fmt: skip


def _day(at_ms: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone):%Y-%m-%d}"
