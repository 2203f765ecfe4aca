"""Whether a ward can spare a unit: what it uses now, against what the rest of its units are known to hold, and gas.

Stale values never count as good: a unit that is silent holds nothing for others, but what it last gave still counts as
needed. All is taken as it is now; a plan for weeks is made anew as that changes.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import msgspec

from collector.rules.limits import DAY, Limits
from collector.rules.unitrow import RUNNING, SILENT, UNSEEN, WARMING_UP, UnitRow
from collector.site import Site

#: An estimate of what a unit will hold is not counted on for longer (it is of the flow in use; our choice, no source).
ESTIMATE_MS = DAY


class WardSupply(msgspec.Struct, frozen=True, kw_only=True):
    """A ward's oxygen now: flow in use by unit and what each is known to hold, in L/min; litres in its cylinders.

    backup_l is what the cylinders give with their reserve taken off. Of `unheard` units nobody knows now what flow they
    give: nothing was ever heard of them, or not lately.
    """

    ward: str
    used_lpm: Mapping[str, float] = {}
    holds_lpm: Mapping[str, float] = {}
    backup_l: float = 0.0
    unheard: tuple[str, ...] = ()

    @property
    def demand_lpm(self) -> float:
        """Flow in use in the ward."""
        return sum(self.used_lpm.values())

    def rest_lpm(self, unit: str) -> float:
        """What the ward's other units are known to hold."""
        return sum(flow for other, flow in self.holds_lpm.items() if other != unit)

    def shortfall_lpm(self, unit: str) -> float:
        """What the ward would lack without a unit, beyond what it lacks already; 0 when it can be spared."""
        gives = max(self.holds_lpm.get(unit, 0.0), self.used_lpm.get(unit, 0.0))
        short = max(0.0, self.demand_lpm - self.rest_lpm(unit))
        return round(min(short, gives), 3)


def ward_supplies(
    site: Site, units: Mapping[str, UnitRow], now_ms: int, backup_l: Mapping[str, float], out: Collection[str] = ()
) -> dict[str, WardSupply]:
    """Every ward's oxygen now; `out` are units that are out of service, which neither give nor hold anything."""
    found = {}
    for ward in site.places():
        here = [unit.id for unit in site.units_of(ward.id) if unit.in_service is not False and unit.id not in out]
        rows = {unit: units[unit] for unit in here if unit in units}
        found[ward.id] = WardSupply(
            ward=ward.id, used_lpm={unit: _used(row) for unit, row in rows.items()},
            holds_lpm={unit: min(_holds(row, now_ms), site.model_of(unit).rated_flow_lpm)
                       for unit, row in rows.items()},
            backup_l=max(0.0, backup_l.get(ward.id, 0.0)),
            unheard=tuple(unit for unit in here if unit not in rows or rows[unit].phase in (SILENT, UNSEEN)),
        )  # fmt: skip
    return found


def _used(row: UnitRow) -> float:
    return row.flow_lpm or 0.0 if row.phase in (RUNNING, WARMING_UP, SILENT) else 0.0


def _holds(row: UnitRow, now_ms: int) -> float:
    """What a unit will hold by its estimate, else what it was seen to hold lately; 0 when nobody knows."""
    if row.phase in (SILENT, UNSEEN):
        return 0.0
    found = row.capacity
    if found is not None and found.good_to_lpm is not None and now_ms - found.at_ms <= ESTIMATE_MS:
        return found.good_to_lpm
    fresh = row.proven_ms is not None and now_ms - row.proven_ms <= Limits().proven_ms
    return row.proven_lpm or 0.0 if fresh else 0.0
