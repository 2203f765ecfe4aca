"""A ward's demand for flow against what its units are known to give.

Demand is the flow of all its units together, hour by hour. A unit counts with what it is known to hold: its
`good_to_lpm`, else the flow it was lately proven at, never more than rated; one of which neither is known counts as
nothing and is named as unproven. Units stand in the ward that the site file says now.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import msgspec
import numpy as np

from collector.rules.unitrow import UnitRow
from collector.service.given import Given
from collector.site import Model, Site


class WardDemand(msgspec.Struct, frozen=True, kw_only=True):
    """Flows in L/min over `hours` in which any of the ward's units ran; known_lpm is what it can be sure of.

    most_units ran at once; enough is the chance that so many of its units are up, each with the ward's availability and
    failing on its own (None: not known). spare_lpm is known_lpm less the peak.
    """

    ward: str
    units: int
    hours: int
    median_lpm: float
    p95_lpm: float
    peak_lpm: float
    peak_ms: int | None
    most_units: int
    known_lpm: float
    rated_lpm: float
    unproven: tuple[str, ...]
    enough: float | None

    @property
    def spare_lpm(self) -> float:
        """What is left at the peak; below 0 the ward needs more than its units are known to give."""
        return self.known_lpm - self.peak_lpm


def k_of_n(k: int, n: int, availability: float) -> float:
    """The chance that at least k of n units are up, each on its own with this availability."""
    from scipy import stats  # half a second and many megabytes: only for those who ask for it

    return float(stats.binom.sf(k - 1, n, availability))


def known_lpm(row: UnitRow | None, model: Model) -> float | None:
    """The flow that a unit is known to hold, at most rated; None when nothing is known."""
    if row is None:
        return None
    good_to = row.capacity.good_to_lpm if row.capacity else None
    held = good_to if good_to is not None else row.proven_lpm
    return None if held is None else min(held, model.rated_flow_lpm)


def ward_demand(
    site: Site, ward: str, rows: Mapping[str, UnitRow], given: Mapping[str, Given], out: Collection[str],
    availability: float | None,
) -> WardDemand:  # fmt: skip
    """One ward over the span that `given` are of; `out` names units that are out of service now."""
    units = [unit for unit in site.units_of(ward) if unit.in_service is not False]
    flows: dict[int, list[float]] = {}
    for unit in units:
        for at_ms, flow_lpm in given.get(unit.id, Given()).flow:
            flows.setdefault(at_ms, []).append(flow_lpm)
    sums = {at_ms: sum(found) for at_ms, found in flows.items()}
    there = [unit.id for unit in units if unit.id not in out]
    held = {unit: known_lpm(rows.get(unit), site.model_of(unit)) for unit in there}
    peak_ms = max(sums, key=lambda at_ms: sums[at_ms], default=None)
    most = max((len(found) for found in flows.values()), default=0)
    median_lpm, p95_lpm = np.quantile(list(sums.values()), (0.5, 0.95)).tolist() if sums else (0.0, 0.0)
    return WardDemand(
        ward=ward, units=len(units), hours=len(sums), median_lpm=median_lpm, p95_lpm=p95_lpm,
        peak_lpm=sums[peak_ms] if peak_ms is not None else 0.0, peak_ms=peak_ms, most_units=most,
        known_lpm=sum(flow for flow in held.values() if flow is not None),
        rated_lpm=sum(site.model_of(unit).rated_flow_lpm for unit in there),
        unproven=tuple(unit for unit, flow in held.items() if flow is None),
        enough=None if availability is None or not units else k_of_n(most, len(units), availability),
    )  # fmt: skip
