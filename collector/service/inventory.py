"""The inventory: one line a unit, as far as site file, readings and journal know it.

What a register of medical equipment holds is after WHO, Introduction to medical equipment inventory management, 2011
(from memory). Make, supplier, price and warranty are not kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Final

import msgspec

from collector.reading import iso_utc
from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.rules.unitrow import UnitRow
from collector.site import Site, Unit

GENERIC_NAME: Final = "bedside oxygen concentrator"
IN_SERVICE: Final = "in service"
TAKEN_OUT: Final = "out of service"
NOT_USED: Final = "not used"


class Holding(msgspec.Struct, frozen=True, kw_only=True):
    """One unit of the inventory; hours in h, flows in L/min, purity in %, times RFC 3339 in UTC, "" and None unknown.

    service_hours_h counts what was seen and what the unit's own meter vouches for; unknown_h nobody can account for.
    """

    number: str
    generic_name: str
    model: str
    serial: str
    ward: str
    facility: str
    in_service_since: str
    state: str
    rated_flow_lpm: float
    hour_meter_h: float | None
    service_hours_h: float
    unknown_h: float
    good_to_lpm: float | None
    good_to_as_of: str
    last_proof: str
    last_proof_result: str
    last_proof_pct: float | None
    last_proof_analyser: str
    out_of_service_since: str
    last_reading: str


def inventory(site: Site, rows: Iterable[JournalRow], units: Mapping[str, UnitRow]) -> list[Holding]:
    """Every unit of the site file, in its order; rows are journal rows in the order they were written."""
    proofs: dict[str, JournalRow] = {}
    out: dict[str, JournalRow] = {}
    for row in rows:
        if row.kind == entries.PURITY_PROOF:
            proofs[row.unit] = row
        elif row.kind == entries.OUT_OF_SERVICE:
            out.setdefault(row.unit, row)
        elif row.kind == entries.RETURN_TO_SERVICE:
            out.pop(row.unit, None)
    return [
        _holding(site, unit, units.get(unit.id, UnitRow(unit=unit.id)), proofs.get(unit.id), out.get(unit.id))
        for unit in site.units
    ]


def _holding(site: Site, unit: Unit, row: UnitRow, proof: JournalRow | None, out: JournalRow | None) -> Holding:
    body = proof.body if proof else {}
    capacity = row.capacity
    return Holding(
        number=unit.id, generic_name=GENERIC_NAME, model=unit.model, serial=unit.serial, ward=unit.ward,
        facility=site.facility.id,
        in_service_since=unit.in_service.isoformat() if isinstance(unit.in_service, date) else "",
        state=NOT_USED if unit.in_service is False else TAKEN_OUT if out else IN_SERVICE,
        rated_flow_lpm=site.model_of(unit.id).rated_flow_lpm,
        hour_meter_h=unit.hour_meter_h if row.hours_h is None else row.hours_h,
        service_hours_h=round(row.observed_h + row.inferred_h, 1), unknown_h=round(row.unknown_h, 1),
        good_to_lpm=capacity.good_to_lpm if capacity else None,
        good_to_as_of=_moment(capacity.at_ms if capacity else None),
        last_proof=_moment(proof.at_ms if proof else None), last_proof_result=str(body.get("result", "")),
        last_proof_pct=body.get("as_left_pct"), last_proof_analyser=str(body.get("analyser", "")),
        out_of_service_since=_moment(out.at_ms if out else None), last_reading=_moment(row.last_ms),
    )  # fmt: skip


def _moment(at_ms: int | None) -> str:
    return "" if at_ms is None else iso_utc(at_ms)
