"""What may be asked of a site file, as the body of a `site-change` row.

{do: "move", unit, from, to, why} · {do: "swap", unit, with, from, to, why}: `unit` stands in `from`, `with` in `to` ·
{do: "add", table, fields, why} · {do: "remove", unit, why}: a unit that was never heard · {do: "facility", fields}.
A ward "" stands for none. `undoes` is the row that it takes back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from collector.site_tables import Bridge, Cylinder, Facility, Model, Person, Table, Unit, Ward

MOVE: Final = "move"
SWAP: Final = "swap"
ADD: Final = "add"
REMOVE: Final = "remove"
FACILITY: Final = "facility"
DOINGS: Final = (MOVE, SWAP, ADD, REMOVE, FACILITY)
#: What a screen may add.
TABLES: Final[dict[str, type[Table]]] = {
    "ward": Ward, "model": Model, "unit": Unit, "cylinder": Cylinder, "bridge": Bridge, "person": Person,
}  # fmt: skip
#: What a screen may say of the facility; its id is what the record is kept under.
FACILITY_KEYS: Final = tuple(key for key in Facility.model_fields if key != "id")


def moves_of(body: Mapping[str, Any]) -> dict[str, str]:
    """Which units stand in which wards afterwards, by a move or a swap."""
    if body.get("do") == MOVE:
        return {str(body["unit"]): str(body["to"])}
    if body.get("do") == SWAP:
        return {str(body["unit"]): str(body["to"]), str(body["with"]): str(body["from"])}
    return {}


def stands_of(body: Mapping[str, Any]) -> dict[str, str]:
    """Where these units stand before it, as whoever asked saw it."""
    if body.get("do") == MOVE:
        return {str(body["unit"]): str(body["from"])}
    if body.get("do") == SWAP:
        return {str(body["unit"]): str(body["from"]), str(body["with"]): str(body["to"])}
    return {}


def undoing(body: Mapping[str, Any], seq: int) -> dict[str, Any] | None:
    """What takes a change back; None where that is not safe. `seq` is the row of the change."""
    match body.get("do"):
        case "move":
            back = {"from": body["to"], "to": body["from"]}
        case "swap":
            back = {"from": body["to"], "to": body["from"]}
        case "add" if body.get("table") == "unit":
            return {"do": REMOVE, "unit": body["fields"]["id"], "why": "", "undoes": seq}
        case _:
            return None
    return {**body, **back, "why": "", "undoes": seq}
