"""What the screens of upkeep ask beyond what is known now; no Streamlit.

Rules of this file: as in queries.py: every question opens its own connection and has an end; StoreError says in plain
words what is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Final

from collector.dues import record_now
from collector.service.agreed import agreed_visits
from collector.service.due import DueTask, dues_of
from collector.service.order import KINDS as ORDER_KINDS
from collector.service.order import Order, month_order
from collector.service.reliability import Fleet, fleet_figures
from collector.service.spans import Span
from collector.service.stock import stock_of
from collector.service.supply import ward_supplies
from collector.service.visits import Plan, plan_visits
from collector.site import Site
from collector.store.fleet import fleet_record
from dashboard.queries import Now, reader, service_rows
from dashboard.times import local

#: Seconds of the solver's time while somebody looks at the screen; `sieveward plan` takes longer.
PLAN_S: Final = 10.0


def dues(data_dir: Path, now: Now, now_ms: int) -> list[DueTask]:
    """Every task of every unit and when it is due, the soonest first; without a site file nothing."""
    if now.site is None:
        return []
    with reader(data_dir) as conn:
        record = record_now(conn, now.site)
    return dues_of(now.site, record, now.units, now_ms)


def order(data_dir: Path, now: Now, now_ms: int) -> Order:
    """What to order this month; without a site file nothing."""
    if now.site is None:
        return Order(needs=(), cost=0.0, currency="", unknown=())
    return month_order(now.site, service_rows(data_dir, kinds=ORDER_KINDS), now.units, now_ms)


def fleet(data_dir: Path, site: Site, span: Span, now_ms: int) -> Fleet:
    """The fleet's figures over a span."""
    with reader(data_dir) as conn:
        return fleet_figures(fleet_record(conn, site, span, now_ms))


def plan(data_dir: Path, now: Now, now_ms: int, dues: Sequence[DueTask], weeks: int) -> Plan:
    """The plan of visits from tomorrow on; `now` must have a site file."""
    assert now.site is not None  # noqa: S101 - for the type checker: the caller has looked
    rows = service_rows(data_dir)
    stock = {part: max(0, one.have) for part, one in stock_of(now.site, rows).items()}
    gas_l = {ward: sum(c.usable_l for c in one.cylinders if c.good(now_ms)) for ward, one in now.backup.wards.items()}
    supply = ward_supplies(now.site, now.units, now_ms, gas_l, now.out_of_service)
    first = local(now_ms, now.zone).date() + timedelta(days=1)
    return plan_visits(now.site, dues, supply, stock, first, weeks, agreed_visits(rows), seconds=PLAN_S)
