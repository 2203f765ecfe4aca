"""Work orders: opened from a condition or a due task, closed with what was found and done; folds over the journal.

Rules of this file: an order is what its rows say, in the order in which they were written down (`seq`). A second row
that opens an order which is there already, or closes one that is not open, changes nothing: the first one stands.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any, Final

import msgspec

from collector.rules.entries import PURITY_PROOF, WORK_CLOSED, WORK_OPENED, JournalRow
from collector.service.proof import Proof, proof_of


class WorkOrder(msgspec.Struct, frozen=True, kw_only=True):
    """One work order; `condition` or `task` is what it was opened from, and raised_ms when that condition was raised.

    closed_ms is None while it is open. parts: how many of each; minutes: of work. `proofs` are the checks that name it.
    """

    work: str
    unit: str
    ward: str
    seq: int
    opened_ms: int
    opened_by: str
    why: str
    condition: str = ""
    task: str = ""
    raised_ms: int | None = None
    closed_ms: int | None = None
    closed_by: str = ""
    fault_found: str = ""
    cause: str = ""
    action: str = ""
    parts: Mapping[str, int] = {}
    minutes: float | None = None
    proofs: tuple[Proof, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether work is still to be done or written down."""
        return self.closed_ms is None

    @property
    def last_proof(self) -> Proof | None:
        """The last check that names it."""
        return self.proofs[-1] if self.proofs else None

    @property
    def as_found_pct(self) -> float | None:
        """Purity before anything was done: of the first check that says."""
        return next((proof.as_found_pct for proof in self.proofs if proof.as_found_pct is not None), None)


#: Kinds of rows that these folds read.
KINDS: Final = (WORK_OPENED, WORK_CLOSED, PURITY_PROOF)


def work_orders(rows: Iterable[JournalRow]) -> dict[str, WorkOrder]:
    """Every work order by its id, in the order of opening; rows in the order of `seq`."""
    orders: dict[str, WorkOrder] = {}
    for row in rows:
        if row.kind not in KINDS:
            continue
        work = str(row.body.get("work") or "")
        known = orders.get(work)
        if row.kind == WORK_OPENED:
            if known is None and work:
                orders[work] = _opened(row, work)
        elif known is None or known.unit != row.unit:
            continue
        elif row.kind == PURITY_PROOF:
            orders[work] = msgspec.structs.replace(known, proofs=(*known.proofs, proof_of(row)))
        elif known.is_open:
            orders[work] = _closed(known, row)
    return orders


def open_orders(orders: Mapping[str, WorkOrder], unit: str | None = None) -> list[WorkOrder]:
    """Orders that are open, the oldest first; of one unit, or of all."""
    return [order for order in orders.values() if order.is_open and unit in (None, order.unit)]


def new_work_id(unit: str, day: date, taken: Collection[str]) -> str:
    """An id that people can say and write on a label: the unit, the day and a number."""
    stem = f"{unit}-{day:%Y%m%d}"
    number = next(n for n in range(1, len(taken) + 2) if f"{stem}-{n}" not in taken)
    return f"{stem}-{number}"


def order_fields(order: WorkOrder) -> dict[str, Any]:
    """An order for a program to read, with its state in words."""
    return {**msgspec.to_builtins(order), "state": "open" if order.is_open else "closed"}


def _opened(row: JournalRow, work: str) -> WorkOrder:
    body = row.body
    return WorkOrder(
        work=work, unit=row.unit, ward=row.ward, seq=row.seq, opened_ms=row.at_ms, opened_by=row.who,
        why=str(body.get("why") or ""), condition=str(body.get("condition") or row.condition),
        task=str(body.get("task") or ""), raised_ms=body.get("raised_ms"),
    )  # fmt: skip


def _closed(order: WorkOrder, row: JournalRow) -> WorkOrder:
    body = row.body
    return msgspec.structs.replace(
        order, closed_ms=row.at_ms, closed_by=row.who, fault_found=str(body.get("fault_found") or ""),
        cause=str(body.get("cause") or ""), action=str(body.get("action") or ""), parts=dict(body.get("parts") or {}),
        minutes=body.get("minutes"),
    )  # fmt: skip
