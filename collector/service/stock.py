"""Spare parts in stock, as a fold over what people wrote down.

Rules of this file: the site file says how many there were when it was written; every journal row since then adds to
that or takes from it. `part-moved` counts as it says, except that one with the reason "ordered" is on its way until
"received" rows have brought as many. Parts named in a finished task or a closed work order are gone: whoever writes one
writes no `part-moved` for the same pieces.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.limits import DAY
from collector.site import Part, Site

#: Reasons of `part-moved` that mean more than a number.
ORDERED: Final = "ordered"
RECEIVED: Final = "received"
#: An order that is this many lead times old has been forgotten, and is not counted on (common practice, no source).
LOST_AFTER_LEADS: Final = 2.0
LOST_AFTER_DAYS: Final = 14.0  # at the least


class Stock(msgspec.Struct, kw_only=True):
    """Pieces of one part: `have` may be below 0 when more was used than was ever counted; orders as [at_ms, pieces]."""

    have: int
    orders: list[tuple[int, int]] = []
    used: int = 0
    unplanned: int = 0  # used in work that no due task asked for

    def on_the_way(self, part: Part, now_ms: int) -> int:
        """Pieces that were ordered and can still be counted on."""
        oldest_ms = now_ms - max(part.lead_days * LOST_AFTER_LEADS, LOST_AFTER_DAYS) * DAY
        return sum(pieces for at_ms, pieces in self.orders if at_ms >= oldest_ms)

    def overdue(self, part: Part, now_ms: int) -> int:
        """Pieces whose order is so old that nobody should wait for it any more."""
        return sum(pieces for _, pieces in self.orders) - self.on_the_way(part, now_ms)


def stock_of(site: Site, rows: Iterable[JournalRow]) -> dict[str, Stock]:
    """Stock by part id after these rows, given in the order in which they were written."""
    stocks = {part.id: Stock(have=part.stock) for part in site.parts}
    unplanned: dict[str, bool] = {}
    for row in rows:
        if row.kind == entries.PART_MOVED:
            _move(site, stocks, row)
        elif row.kind == entries.WORK_OPENED:
            unplanned[_work(row)] = _is_unplanned(row)
        elif row.kind in (entries.TASK_DONE, entries.WORK_CLOSED):
            by_failure = row.kind == entries.WORK_CLOSED and (
                names_fault(row.body.get("fault_found")) or unplanned.get(_work(row), False)
            )
            _use(site, stocks, row, by_failure)
    return stocks


def pieces_in(row: JournalRow) -> dict[str, int]:
    """The parts that a row says were used, by the name it gives them; nothing for what is no number above 0."""
    parts = row.body.get("parts")
    if not isinstance(parts, dict):
        return {}
    return {str(name): round(n) for name, n in parts.items() if isinstance(n, int | float) and n > 0}


def names_fault(said: object) -> bool:
    """Whether what was written under "fault found" names one; a plain "no" or "none" does not."""
    return bool(said) and str(said).strip().casefold() not in ("", "no", "none", "false", "nothing")


def unknown_parts(site: Site, rows: Iterable[JournalRow]) -> list[str]:
    """Names of parts that rows use and the site file does not have: nobody can order those."""
    named: set[str] = set()
    for row in rows:
        if row.kind == entries.PART_MOVED:
            named.add(str(row.body.get("part", "")))
        elif row.kind in (entries.TASK_DONE, entries.WORK_CLOSED):
            named.update(pieces_in(row))
    return sorted(name for name in named if site.part(name) is None)


def _work(row: JournalRow) -> str:
    return str(row.body.get("work", ""))


def _is_unplanned(row: JournalRow) -> bool:
    condition = row.body.get("condition") or row.condition
    return bool(condition) and not row.body.get("task") and condition not in ("service-due", "verification-due")


def _move(site: Site, stocks: dict[str, Stock], row: JournalRow) -> None:
    part, by = site.part(str(row.body.get("part", ""))), row.body.get("by")
    if part is None or not isinstance(by, int | float):
        return
    stock, pieces = stocks[part.id], round(by)
    why = str(row.body.get("why", "")).strip().casefold()
    if why == ORDERED:
        stock.orders.append((row.at_ms, max(0, pieces)))
        return
    stock.have += pieces
    if why == RECEIVED:
        _arrive(stock, pieces)


def _arrive(stock: Stock, pieces: int) -> None:
    """The oldest orders come first."""
    left = max(0, pieces)
    orders: list[tuple[int, int]] = []
    for at_ms, ordered in stock.orders:
        taken = min(left, ordered)
        left -= taken
        if ordered > taken:
            orders.append((at_ms, ordered - taken))
    stock.orders = orders


def _use(site: Site, stocks: dict[str, Stock], row: JournalRow, by_failure: bool) -> None:
    for name, pieces in pieces_in(row).items():
        part = site.part(name)
        if part is not None:
            stock = stocks[part.id]
            stock.have -= pieces
            stock.used += pieces
            stock.unplanned += pieces if by_failure else 0
