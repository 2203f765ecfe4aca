"""`sieveward parts`: spare parts in stock, what will be needed, and what to order this month."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Final

import typer
from rich.console import Console
from rich.table import Table

from collector.cli.known import known
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.cli.tables import write_csv
from collector.service.order import KINDS, Order, month_order
from collector.service.parts import REVIEW_DAYS, Need

_WIDTH: Final = 140  # of tables that go into a file
_COLUMNS: Final = ("part", "in stock", "on its way", "needed, tasks", "needed, failures", "order at", "fill up to",
                   "lasts", "order", "cost")  # fmt: skip


def parts_command(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the list as CSV there too.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """List spare parts: stock, need over the lead time and a month, and what to order this month at what cost.

    "order at" is the stock at which an order cannot wait for the month's end; "lasts" the chance that what there is and
    what is on its way lasts until next month's order would come. Example: sieveward parts --data data --out order.csv
    """
    with known(data, site_file) as now:
        order = month_order(now.site, now.rows(kinds=KINDS), now.units, now.now_ms)
    if out is not None:
        try:
            write_csv(out, Need, order.needs)
        except OSError as error:
            raise Refused(f"{out} cannot be written: {error.strerror}", EXIT_FAILED) from error
    if as_json:
        say_json(order)
        return
    _show(order)


def _show(order: Order) -> None:
    console = Console(file=sys.stdout, highlight=False, markup=False)
    if not console.is_terminal:
        console.width = _WIDTH
    table = Table(title=f"Parts: lead time and {REVIEW_DAYS:g} days ahead")
    for place, column in enumerate(_COLUMNS):
        table.add_column(column, justify="right" if place else "left")
    for need in order.needs:
        table.add_row(*_row(need))
    console.print(table)
    ordered = [need for need in order.needs if need.order]
    money = f"{order.cost:,.2f} {order.currency}".strip()
    say(f"order {len(ordered)} parts, {sum(need.order for need in ordered)} pieces, for {money}" if ordered
        else "nothing to order this month")  # fmt: skip
    for note in _notes(order):
        say_error(note)


def _row(need: Need) -> tuple[str, ...]:
    order = (f"{need.order}{' now' if need.order_now else ''}", f"{need.cost:,.2f}") if need.order else ("", "")
    return (
        need.title, str(need.have), str(need.on_the_way), f"{need.planned:.1f}", f"{need.failures:.1f}",
        str(need.reorder_level), str(need.up_to), f"{need.lasts:.0%} of {need.service_level:.0%}", *order,
    )  # fmt: skip


def _notes(order: Order) -> list[str]:
    notes = [f"{need.title}: more was used than was ever counted; count the shelf" for need in order.needs
             if need.miscounted]  # fmt: skip
    notes += [f"{need.title}: {need.lost_order} pieces were ordered over two lead times ago and are not counted on"
              for need in order.needs if need.lost_order]  # fmt: skip
    if order.unknown:
        notes.append(f"no [[part]] in the site file for: {', '.join(order.unknown)}")
    return notes
