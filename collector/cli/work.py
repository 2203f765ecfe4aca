"""`sieveward work`: work orders, checks that are due, and what was done to a unit; it only reads."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import msgspec
import typer

from collector.cli.known import Known, known
from collector.cli.says import Refused, say, say_json
from collector.rules.catalogue import title_of
from collector.service import gate, history
from collector.service.gate import ProofDue, proofs_due
from collector.service.history import Happening, unit_history
from collector.service.proof import Calibration, calibrations
from collector.service.repaired import Repair, judge_repair, span_asked
from collector.service.work import WorkOrder, order_fields, work_orders
from collector.site import Model
from collector.store.history import capacity_points, status

app = typer.Typer(help="Work orders, and how repairs were proven.", no_args_is_help=True, rich_markup_mode=None)

Data = Annotated[Path, typer.Option("--data", metavar="DIR", help="The collector's data directory.")]
SiteFile = Annotated[
    Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
]
Json = Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")]


@app.command("list")
def list_orders(
    data: Data = Path("data"),
    site_file: SiteFile = None,
    unit: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Closed orders too.")] = False,
    as_json: Json = False,
) -> None:
    """Work orders that are open, units that need a check, and analysers that must not be used.

    Example: sieveward work list --data data
    """
    with known(data, site_file) as now:
        rows = now.rows(kinds=gate.KINDS)
        orders = [o for o in work_orders(rows).values() if unit in (None, o.unit) and (every or o.is_open)]
        removed = {one.id for one in now.site.units if one.in_service is False}
        removed |= set((status(now.conn, "out_of_service") or {}).get("units", ()))
        due = [one for one in proofs_due(now.site, rows, removed) if unit in (None, one.unit)]
        analysers = calibrations(now.site, now.now_ms)
        if as_json:
            say_json({"orders": [order_fields(order) for order in orders],
                      "checks_due": [one._asdict() for one in due],
                      "analysers": [one._asdict() | {"good": one.good} for one in analysers]})  # fmt: skip
            return
        _say_list(now, orders, due, analysers)
        if not orders:
            say("no work order" + ("" if every else " is open"))


def _say_list(
    now: Known, orders: Iterable[WorkOrder], due: Iterable[ProofDue], analysers: Iterable[Calibration]
) -> None:  # fmt: skip
    for order in orders:
        say(_line(now, order))
    for one in due:
        where = "in service" if one.in_service else "out of service"
        say(f"check due: {one.unit} ({where}) since {_when(now, one.since_ms)}: {one.why}")
    for analyser in analysers:
        if not analyser.good:
            say(f"not to be used: {analyser.why}")


@app.command("show")
def show_order(
    work: Annotated[str, typer.Argument(metavar="ORDER", help="A work order's id.")],
    data: Data = Path("data"),
    site_file: SiteFile = None,
    as_json: Json = False,
) -> None:
    """One work order: what was found and done, its checks, and whether the repair worked.

    Example: sieveward work show unit-07-20261005-1 --data data
    """
    with known(data, site_file) as now:
        rows = now.rows(kinds=gate.KINDS)
        order = work_orders(rows).get(work)
        if order is None:
            raise Refused(f"there is no work order '{work}'; 'sieveward work list --all' names them")
        repair = _repair(now, order)
        done = [one for one in unit_history(now.site, rows, order.unit) if one.work == work][::-1]
        if as_json:
            found = {"before": repair.before._asdict(), "after": repair.after._asdict(), "verdict": repair.verdict,
                     "holds_rated": repair.holds_rated, "said": repair.text}  # fmt: skip
            say_json(order_fields(order) | {"repair": found})
            return
        say(_line(now, order))
        for one in done:
            say(_happened(now, one))
        say(repair.text)


@app.command("unit")
def show_unit(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="A unit's id.")],
    data: Data = Path("data"),
    site_file: SiteFile = None,
    as_json: Json = False,
) -> None:
    """Everything that people did to a unit, newest first.

    Example: sieveward work unit unit-07 --data data
    """
    with known(data, site_file) as now:
        found = unit_history(now.site, now.rows(kinds=history.KINDS), unit)
        if now.site.unit(unit) is None and not found:
            raise Refused(f"neither the site file nor the journal has a unit '{unit}'")
        if as_json:
            say_json({"unit": unit, "happened": msgspec.to_builtins(found)})
            return
        for one in found:
            say(_happened(now, one))
        if not found:
            say(f"nothing was written down of {unit} yet")


def _repair(now: Known, order: WorkOrder) -> Repair:
    known_unit = now.site.unit(order.unit) is not None
    model = now.site.model_of(order.unit) if known_unit else Model(id="default")
    points = capacity_points(now.conn, order.unit, *span_asked(order, now.now_ms), 2_000)
    return judge_repair(order, points, model, now.now_ms)


def _line(now: Known, order: WorkOrder) -> str:
    state = f"closed {_when(now, order.closed_ms)}" if order.closed_ms else f"open since {_when(now, order.opened_ms)}"
    proof = order.last_proof
    checked = "" if proof is None else f"; check {'passed' if proof.passed else 'failed'} ({proof.as_left_pct:g} %)"
    told = f"{title_of(order.condition)}: " if order.condition else ""
    return f"{order.work} {state}: {told}{order.why}{checked}"


def _happened(now: Known, one: Happening) -> str:
    who = f"{one.who} ({one.role})" if one.role else one.who
    return f"{_when(now, one.at_ms)}  {who}: {one.said}"


def _when(now: Known, at_ms: int | None) -> str:
    if at_ms is None:
        return "?"
    return f"{datetime.fromtimestamp(at_ms / 1000, ZoneInfo(now.site.facility.timezone)):%Y-%m-%d %H:%M}"
