"""Parts of a month, and what needs money or a decision at its end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from collector.rules import entries
from collector.rules.limits import DAY
from collector.service.episodes import OUT, episodes
from collector.service.month_data import MonthData
from collector.service.month_units import NOT_GOOD
from collector.service.order import month_order
from collector.service.parts import Need
from collector.service.proof import calibrations
from collector.service.report_lines import NeedLine, PartLine, UnitLine
from collector.service.stock import RECEIVED, pieces_in

#: A unit that is out of service for so long needs somebody's decision; common practice, no source.
LONG_OUT_DAYS: Final = 14


def part_lines(data: MonthData) -> list[PartLine]:
    """One line a part of the whole facility: stock is not a ward's. Parts nobody knows have no stock."""
    used, received = Counter[str](), Counter[str]()
    for row in data.rows:
        if data.during(row.at_ms) and row.kind in (entries.TASK_DONE, entries.WORK_CLOSED):
            for name, pieces in pieces_in(row).items():
                used[part.id if (part := data.site.part(name)) else name] += pieces
        elif data.during(row.at_ms) and row.kind == entries.PART_MOVED and row.body.get("why") == RECEIVED:
            received[str(row.body.get("part"))] += round(row.body.get("by") or 0)
    lines = [_part_line(data, need, used[need.part], received[need.part]) for need in part_needs(data)]
    known = {line.part for line in lines}
    return lines + [
        PartLine(part=name, title=name, used=pieces, received=0, used_cost=None, stock=None, to_order=None,
                 order_cost=None)
        for name, pieces in sorted(used.items()) if name not in known
    ]  # fmt: skip


def _part_line(data: MonthData, need: Need, used: int, received: int) -> PartLine:
    part = data.site.part(need.part)
    each = part.cost if part else 0.0
    return PartLine(part=need.part, title=need.title, used=used, received=received, used_cost=used * each,
                    stock=need.have, to_order=need.order, order_cost=need.cost)  # fmt: skip


def part_needs(data: MonthData) -> list[Need]:
    """What each part needs as of the month's end; of a past month without the units' rows, which are of now."""
    units = {} if data.month.is_over else data.known
    return list(month_order(data.site, data.rows, units, data.month.until_ms).needs)


def need_lines(data: MonthData, units: Sequence[UnitLine], parts: Sequence[PartLine]) -> list[NeedLine]:
    """What somebody must decide on or pay for; parts first, since those have a price."""
    lines = [
        NeedLine(what=f"Order {part.to_order} × {part.title}", why=f"{part.stock} in stock",
                 cost=part.order_cost or None)
        for part in parts if part.to_order
    ]  # fmt: skip
    lines += _long_out(data)
    lines += [
        NeedLine(what=f"Repair or replace {unit.unit}", why=f"not good at rated flow: {unit.functional_by}", cost=None)
        for unit in units if unit.functional == NOT_GOOD
    ]  # fmt: skip
    own = {unit.unit for unit in units}
    again = Counter(failure.unit for failure in data.fleet.failures if failure.repeat and failure.unit in own)
    lines += [
        NeedLine(what=f"Decide about {unit}", why=f"failed again within 30 days of a repair, {times} ×", cost=None)
        for unit, times in sorted(again.items())
    ]
    lines += [
        NeedLine(what=f"Calibrate {one.title}", why=one.why, cost=None)
        for one in calibrations(data.site, data.month.until_ms - 1) if not one.good
    ]  # fmt: skip
    return lines


def _long_out(data: MonthData) -> Iterable[NeedLine]:
    own, until_ms = {unit.id for unit in data.units}, data.month.until_ms
    for unit, items in sorted(episodes(data.rows).items()):
        for item in items:
            days = (until_ms - item.from_ms) / DAY
            if unit in own and item.what == OUT and item.to_ms is None and days >= LONG_OUT_DAYS:
                yield NeedLine(what=f"Decide about {unit}", why=f"out of service for {days:.0f} days", cost=None)
