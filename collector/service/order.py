"""What to order this month, from everything on record: tasks forecast for each unit, stock, and what failed so far."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY
from collector.rules.unitrow import UnitRow
from collector.service.due import HORIZON_DAYS, DueTask, dues_of
from collector.service.parts import Need, Planned, needs, order_cost
from collector.service.record import KINDS as RECORD_KINDS
from collector.service.record import Record, UnitRecord, record_of
from collector.service.running import usage_of
from collector.service.stock import stock_of, unknown_parts
from collector.service.tasks import task_of
from collector.site import Site

#: Kinds of journal rows that an order is made of.
KINDS: Final = tuple(sorted({*RECORD_KINDS, entries.PART_MOVED, entries.WORK_OPENED, entries.WORK_CLOSED}))


class Order(msgspec.Struct, frozen=True, kw_only=True):
    """Every part's need, what is to be ordered first, and the cost of all orders in `currency`.

    unknown names parts that tasks or people use and the site file does not have: nothing can be said about those.
    """

    needs: tuple[Need, ...]
    cost: float
    currency: str
    unknown: tuple[str, ...]


def month_order(site: Site, rows: Sequence[JournalRow], units: Mapping[str, UnitRow], now_ms: int) -> Order:
    """What to order now, so that parts last until next month's order has come; rows of KINDS in the order of `seq`."""
    record = record_of(site, rows)
    dues = dues_of(site, record, units, now_ms)
    start_ms = record.start_ms if record.start_ms is not None else now_ms
    found = needs(site, stock_of(site, rows), list(planned_uses(site, dues, record, now_ms)), now_ms=now_ms,
                  observed_days=(now_ms - start_ms) / DAY)  # fmt: skip
    wanted = {name for due in dues for name in due.parts if site.part(name) is None}
    return Order(needs=tuple(found), cost=order_cost(found), currency=site.facility.currency,
                 unknown=tuple(sorted(wanted.union(unknown_parts(site, rows)))))  # fmt: skip


def planned_uses(site: Site, dues: Iterable[DueTask], record: Record, now_ms: int) -> Iterator[Planned]:
    """The parts that due tasks will take, with when; a p95 beyond the horizon is taken as the horizon."""
    far_ms = now_ms + HORIZON_DAYS * DAY
    for due in dues:
        pieces = Counter(part.id for name in due.parts if (part := site.part(name)) is not None)
        if not pieces:
            continue
        p05, p50, p95 = due.due_ms
        every_days = _every_days(site, due, record.units.get(due.unit, UnitRecord()))
        for part_id, count in pieces.items():
            yield Planned(part_id, count, p05, p50, far_ms if p95 is None else p95, every_days)


def _every_days(site: Site, due: DueTask, known: UnitRecord) -> float:
    """After how many days a task comes again, by the calendar or by the unit's own use; 0 where only a sign asks."""
    task = task_of(site, due.unit, due.task)
    if task is None:
        return 0.0
    found = [task.every_days] if task.every_days else []
    unit = site.unit(due.unit)
    if task.every_h and unit is not None and unit.in_service is not False:
        mean_h = usage_of(known.points).mean_h
        if mean_h > 0:
            found.append(task.every_h / mean_h)
    return min(found, default=0.0)
