"""How `sieveward replay` tells what changed limits would have done: tables for people, to stdout."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table

from collector.cli.check import site_or_refuse
from collector.cli.says import Refused, say
from collector.reading import parse_utc
from collector.rules.limits import MINUTE, SECOND
from collector.site import Site
from collector.whatif.changes import ChangesError, Tried, load_changes, whole_site
from collector.whatif.limit_keys import time_text
from collector.whatif.tally import Comparison, ConditionRow, Difference, RunTotals, Spans

_WIDTH: Final = 200  # where output is no terminal: a table that is folded at 80 cannot be read
#: What became of an alarm, in words.
_SAID: Final = {
    "gone": "no longer raised", "later": "later", "new": "new", "earlier": "earlier",
    "joined": "not raised again", "split": "raised again",
}  # fmt: skip


def tried_or_refuse(site: Site, changes: Path | None, against: Path | None) -> Tried | None:
    """What is to be tried, or None; the command's end with every fault and exit status 2 when it cannot be."""
    if changes is not None and against is not None:
        raise Refused("give --changes or --against, not both")
    if changes is not None:
        try:
            return load_changes(changes, site)
        except ChangesError as error:
            raise Refused(str(error)) from error
    if against is None:
        return None
    other = site_or_refuse(against)
    if other.facility.id != site.facility.id:
        raise Refused(f"{against} is the site file of '{other.facility.id}', not of '{site.facility.id}'")
    return whole_site(site, other)


def tell_compared(result: Comparison) -> None:
    """Write the tables."""
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = _WIDTH
    span = f"{result.first} to {result.last}" if result.first else "no readings"
    say(f"What the change would have done: {span}, {result.readings} readings of {result.units} units")
    for change in result.changes:
        say(f"  {change.of} {change.key}: {_plain(change.before)} -> {_plain(change.after)}")
    for said in _left_out(result):
        say(f"  {said}")
    say("")
    console.print(_conditions(result.conditions))
    console.print(_totals(result))
    if result.differences:
        console.print(_differences(result.differences))
    say(f"The same alarm: raised within {time_text(result.window_min * MINUTE)} of each other, or standing together.")


def _plain(value: object) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _left_out(result: Comparison) -> Iterable[str]:
    if not result.changes:
        yield "nothing is changed"
    for count, said in (
        (result.late, "out of order, left out"), (result.unknown_units, "of units the site does not have, left out"),
        (result.broken, "that could not be read, left out"),
    ):  # fmt: skip
        if count:
            yield f"{count} readings {said}"


def _table(title: str, columns: str, right_from: int) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for number, name in enumerate(columns.split("|")):
        table.add_column(name, justify="right" if number >= right_from else "left", overflow="fold", no_wrap=not number)
    return table


def _conditions(rows: list[ConditionRow]) -> Table:
    columns = "condition|raised|same|earlier|later|priority|new|again|gone|merged|stood, h"
    table = _table("Alarms, today -> with the change", columns, 1)
    for row in rows:
        today, changed = row.today, row.changed
        raised = [f"{run.raised}" for run in (today, changed)]
        if today.high != changed.high:
            raised = [f"{run.raised} ({run.high} high)" for run in (today, changed)]
        counts = (row.priority, row.new, row.split, row.gone, row.joined)
        table.add_row(
            row.condition, " -> ".join(raised), f"{row.same}", _shifted(row.earlier, row.earlier_by),
            _shifted(row.later, row.later_by), *map(str, counts), f"{today.hours:.1f} -> {changed.hours:.1f}",
        )  # fmt: skip
    return table


def _shifted(count: int, by: Spans | None) -> str:
    if not count or by is None:
        return f"{count}"
    median, greatest = (time_text(minutes * MINUTE) for minutes in (by.median_min, by.greatest_min))
    return f"{count} ({median})" if count == 1 else f"{count} ({median}, to {greatest})"


def _totals(result: Comparison) -> Table:
    table = _table(f"\nIn all ({result.unit_months:.2f} unit-months)", "|today|change", 1)
    pair = (result.today, result.changed)
    for name, text in (
        ("alarms", lambda run: f"{run.alarms}"),
        ("ward alerts", lambda run: f"{run.ward_alerts}"),
        ("ward alerts per unit-month", _per_month),
        ("shut-offs on low purity", lambda run: f"{run.shutdowns}"),
        ("  with the ward told before", lambda run: f"{run.warned}"),
        ("  told so long before (median)", lambda run: _lead(run, "median_min")),
        ("  told so long before (least)", lambda run: _lead(run, "least_min")),
    ):
        table.add_row(name, *(text(run) for run in pair))
    return table


def _per_month(run: RunTotals) -> str:
    return "-" if run.ward_alerts_per_unit_month is None else f"{run.ward_alerts_per_unit_month:.2f}"


def _lead(run: RunTotals, name: str) -> str:
    return "-" if run.lead is None else time_text(getattr(run.lead, name) * MINUTE)


def _differences(differences: list[Difference]) -> Table:
    table = _table("\nWhat differs, the gravest first", "priority|alarm|unit|ward|today (UTC)|change (UTC)|what", 99)
    for d in differences:
        moments = (_short(d.today), _short(d.changed))
        table.add_row(d.priority, d.condition, d.unit or "(ward)", d.ward, *moments, _said(d))
    return table


def _said(d: Difference) -> str:
    if d.kind != "priority":
        shift = f"{time_text(abs(d.later_s) * SECOND)} " if d.later_s else ""
        return shift + _SAID[d.kind]
    if d.today_high is None or d.changed_high is None:
        return "comes to high" if d.today_high is None else "no longer comes to high"
    later_ms = parse_utc(d.changed_high) - parse_utc(d.today_high)
    return f"high {time_text(abs(later_ms))} {'later' if later_ms > 0 else 'earlier'}"


def _short(moment: str | None) -> str:
    return "-" if moment is None else moment[:16].replace("T", " ")
