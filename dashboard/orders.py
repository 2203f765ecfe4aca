"""Rows of work orders, checks and analysers for the screens; pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from collector.rules.catalogue import CATALOGUE
from collector.rules.entries import JournalRow
from collector.service.gate import proofs_due
from collector.service.proof import Calibration, Proof
from collector.service.work import WorkOrder
from collector.terms import title_of
from dashboard import service_words as words
from dashboard import words as common_words
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import age_text, moment_text


def order_rows(orders: Mapping[str, WorkOrder], now: Now, now_ms: int, *, is_open: bool) -> list[Row]:
    """Orders that are open, the oldest first, or closed ones, the newest first."""
    found = [order for order in orders.values() if order.is_open == is_open]
    return [_order_row(order, now, now_ms) for order in (found if is_open else reversed(found))]


def _order_row(order: WorkOrder, now: Now, now_ms: int) -> Row:
    age = age_text(now_ms - order.opened_ms) if order.closed_ms is None else ""
    closed = moment_text(order.closed_ms, now_ms, now.zone)
    state = words.open_for(age) if order.closed_ms is None else words.closed_on(closed)
    return (Cell(order.work), Cell(order.unit, order.unit), ward_title(now, order.ward), why_of(order), state,
            proof_text(order.last_proof))  # fmt: skip


def why_of(order: WorkOrder) -> str:
    """What an order was opened for."""
    said = title_of(order.condition) if order.condition in CATALOGUE else ""
    return "; ".join(text for text in dict.fromkeys((said, order.why)) if text)


def proof_text(proof: Proof | None) -> str:
    """A check in a few words."""
    return words.NOT_CHECKED if proof is None else words.checked(proof.passed, f"{proof.as_left_pct:g}")


def order_figures(order: WorkOrder, now: Now, now_ms: int) -> list[tuple[str, str]]:
    """What is known of one order."""
    found, last = order.as_found_pct, order.last_proof
    pairs = [
        (words.UNIT, f"{order.unit}, {ward_title(now, order.ward)}"),
        (words.OPENED, f"{moment_text(order.opened_ms, now_ms, now.zone)}, {order.opened_by}"),
        (words.WHY, why_of(order)), (words.FAULT_FOUND, order.fault_found),
        (words.CAUSE, common_words.CAUSE_TITLES.get(order.cause, order.cause)), (words.ACTION, order.action),
        (words.PARTS, ", ".join(f"{n:g} {name}" for name, n in order.parts.items())),
        (words.MINUTES, f"{order.minutes:g} min" if order.minutes is not None else ""),
        (words.AS_FOUND, f"{found:g} %" if found is not None else ""),
        (words.AS_LEFT, f"{last.as_left_pct:g} % ({last.uncertainty_pct:g})" if last else ""),
        (words.CHECK, proof_text(last)),
    ]  # fmt: skip
    return [(name, text) for name, text in pairs if text]


def due_rows(now: Now, now_ms: int, rows: Sequence[JournalRow]) -> list[Row]:
    """Units that need a check before they are used."""
    if now.site is None:
        return []
    return [
        (Cell(due.unit, due.unit, "late" if due.in_service else ""), ward_title(now, due.ward), due.why,
         moment_text(due.since_ms, now_ms, now.zone), words.IN_SERVICE if due.in_service else words.OUT_OF_SERVICE)
        for due in proofs_due(now.site, rows, now.out_of_service)
    ]  # fmt: skip


def calibration_rows(found: Sequence[Calibration]) -> list[Row]:
    """Reference analysers, those that cannot be used first."""
    return [
        (Cell(one.title, mark="" if one.good else "late"), words.day_text(one.calibrated) if one.calibrated else "",
         words.day_text(one.until) if one.until else "", words.USABLE if one.good else words.not_usable(one.why))
        for one in found
    ]  # fmt: skip


def ward_title(now: Now, ward: str) -> str:
    """A ward as people call it."""
    return next((place.title for place in now.site.places() if place.id == ward), ward) if now.site else ward
