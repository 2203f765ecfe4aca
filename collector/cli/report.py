"""`sieveward report`: a month of a facility or a ward as PDF, and the CSV files behind it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Final

import msgspec
import typer

from collector.cli.known import Known, known
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.cli.tables import write_csv
from collector.rules import entries
from collector.service import record, reliability, report_lines
from collector.service.month import Month, month_of
from collector.service.month_data import MonthData
from collector.service.report import month_report
from collector.service.report_lines import MonthReport
from collector.site import Site
from collector.store.fleet import kept_rows, rolled_until, unit_hours

KINDS: Final = frozenset((*reliability.KINDS, *record.KINDS, entries.PART_MOVED))
#: Names of the CSV files, with the lines they hold.
FILES: Final[dict[str, type[msgspec.Struct]]] = {
    "figures": report_lines.Figure, "days": report_lines.DayLine, "wards": report_lines.WardLine,
    "units": report_lines.UnitLine, "tasks": report_lines.TaskLine, "warnings": report_lines.WarningLine,
    "failures": report_lines.FailureLine, "parts": report_lines.PartLine, "needs": report_lines.NeedLine,
}  # fmt: skip


def report(
    month: Annotated[str, typer.Option(metavar="YEAR-MONTH", help="Which month, such as 2026-10.")],
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the files go; made when missing.")] = Path("."),
    ward: Annotated[str | None, typer.Option(help="Only this ward (its id).")] = None,
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the whole report for a program to read.")] = False,
) -> None:
    """Write a month's report: a PDF of figures, plots and tables, and the CSV files behind it.

    Example: sieveward report --month 2026-10 --data data --out reports
    """
    with known(data, site_file) as now:
        chosen = _month(month, now.site, now.now_ms)
        made = month_report(_month_data(now, chosen, _ward(ward, now.site)), now.now_ms)
    stem = f"report-{chosen.name}" + (f"-{ward}" if ward else "")
    try:
        written = _write(made, out, stem)
    except OSError as error:
        raise Refused(f"{out} cannot be written: {error.strerror}", EXIT_FAILED) from error
    if as_json:
        say_json({"files": [str(path) for path in written], "month": chosen.name, **_fields(made)})
        return
    for sentence in made.short:
        say(sentence)
    say_error(f"{written[0]} and {len(written) - 1} CSV files written")


def _month(text: str, site: Site, now_ms: int) -> Month:
    try:
        return month_of(text, site.facility.timezone, now_ms)
    except ValueError as error:
        raise Refused(str(error)) from error


def _ward(ward: str | None, site: Site) -> str | None:
    ids = [place.id for place in site.places()]
    if ward is not None and ward not in ids:
        raise Refused(f"the site has no ward '{ward}'; it has {', '.join(ids) or 'none'}")
    return ward


def _month_data(now: Known, month: Month, ward: str | None) -> MonthData:
    covered_ms = min(month.until_ms, rolled_until(now.conn))
    hours, minutes = {}, {}
    for unit in now.site.units:
        model = now.site.model_of(unit.id)
        hours[unit.id], minutes[unit.id] = unit_hours(now.conn, unit.id, model, month.from_ms, covered_ms)
    rows = kept_rows(now.conn, KINDS, month.until_ms)
    return MonthData(now.site, month, rows, now.units, hours, minutes, covered_ms, ward)


def _write(made: MonthReport, folder: Path, stem: str) -> list[Path]:
    from collector.paper.monthly import report_pdf  # libraries of a second's start, which no other command needs

    folder.mkdir(parents=True, exist_ok=True)
    pdf = folder / f"{stem}.pdf"
    pdf.write_bytes(report_pdf(made))
    return [pdf, *(write_csv(folder / f"{stem}-{name}.csv", kind, getattr(made, name)) for name, kind in FILES.items())]


def _fields(made: MonthReport) -> dict[str, object]:
    return {name: getattr(made, name) for name in ("facility", "of", "simulated", "short", "gaps", *FILES)}
