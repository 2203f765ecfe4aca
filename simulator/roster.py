"""What the units of a fleet are: the constants of each, one array element a unit, in the order of their phases."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Final

import numpy as np

from collector.site import Site, Unit
from simulator import noise, physics
from simulator.effects import Columns
from simulator.faults import Fault
from simulator.physics import Array
from simulator.scenario import MAIN_BRIDGE, Begin, Scenario
from simulator.sensors import Placed

_PHASE, _CAPACITY, _CEILING, _FLOW, _METER, _KNEE, _TAU = range(7)
_HOUR_MS: Final = 3_600_000


class Roster:
    """The units that a scenario plays, with their properties; what the site leaves open is drawn from the seed."""

    def __init__(self, site: Site, scenario: Scenario, seed: int, start_ms: int, step_ms: int) -> None:
        units = [unit for unit in site.units if unit.in_service is not False]
        key = noise.keys(seed, [unit.id for unit in units])
        phase_ms = np.floor(noise.between(key, _PHASE, 0, step_ms)).astype(np.int64)
        order = np.lexsort((np.arange(len(units)), phase_ms))
        self.units = [units[i] for i in order.tolist()]
        self.ids = [unit.id for unit in self.units]
        self.key, self.phase_ms = key[order], phase_ms[order]
        self.bridges = _bridges(scenario, self.ids)
        self.room_kpa = physics.air_pressure_kpa(site.facility.altitude_m)
        self._site = site
        self._begins = {begin.id: begin for begin in scenario.begins}
        self._models(site, seed)
        self._beginnings(start_ms)
        self.faults = self._placed(scenario)

    def __len__(self) -> int:
        return len(self.units)

    def _models(self, site: Site, seed: int) -> None:
        models = [site.model_of(unit.id) for unit in self.units]
        design = noise.keys(seed, [f"model {model.id}" for model in models])
        self.rated_lpm = np.array([model.rated_flow_lpm for model in models])
        self.rated_w = np.array([model.power_w for model in models])
        self.shutdown_pct = np.array([model.shutdown_pct for model in models])
        self.amber_pct = np.array([model.amber_pct for model in models])
        self.red_pct = np.array([model.red_pct for model in models])
        self.nominal_volts = np.array([model.nominal_volts for model in models])
        self.warm_up_ms = np.array([model.warm_up_min * 60_000 for model in models])
        self.tau_s = noise.between(design, _TAU, 130.0, 200.0)
        self.knee = self._given("knee", noise.between(design, _KNEE, 10.0, 30.0))
        # Wards hang on lines of their own: voltage wanders alike in all units of a ward.
        self.line_key = noise.keys(seed, [f"line {unit.ward}" for unit in self.units])

    def _beginnings(self, start_ms: int) -> None:
        self.on = np.array([self._begin(unit).on for unit in self.units], np.bool_)
        capacity = self._given("capacity_share", noise.between(self.key, _CAPACITY, 1.15, 1.35))
        self.capacity_lpm = capacity * self.rated_lpm
        self.ceiling_pct = self._given("ceiling_pct", noise.between(self.key, _CEILING, 94.2, 95.4))
        self.most_lpm = np.array([self._most_lpm(unit) for unit in self.units])
        drawn = np.maximum(np.round(self.most_lpm * noise.between(self.key, _FLOW, 0.45, 0.85) * 2) / 2, 0.5)
        self.flow_lpm = self._given("flow_lpm", np.minimum(drawn, self.most_lpm))
        self.steady = np.array([self._begin(unit).flow_lpm is not None for unit in self.units], np.bool_)
        drawn_h = noise.between(self.key, _METER, 400.0, 9000.0).tolist()
        meters = [meter_h(unit, own, start_ms) for unit, own in zip(self.units, drawn_h, strict=True)]
        self.meter_h = np.array(meters, np.float64)
        self.without = {name: np.array([name in self._begin(unit).without for unit in self.units], np.bool_)
                        for begin in self._begins.values() for name in begin.without}  # fmt: skip

    def _begin(self, unit: Unit) -> Begin:
        return self._begins.get(unit.id) or Begin(id=unit.id)

    def _given(self, field: str, drawn: Array) -> Array:
        given = [getattr(self._begin(unit), field) for unit in self.units]
        return np.array([own if value is None else value for value, own in zip(given, drawn.tolist(), strict=True)])

    def _most_lpm(self, unit: Unit) -> float:
        rated = self._site.model_of(unit.id).rated_flow_lpm
        return min(rated, self._site.ward_of(unit.id).flow_limit_lpm or rated)

    def _placed(self, scenario: Scenario) -> list[Placed]:
        """The faults in the order of their starts (a later setting replaces an earlier one), with their columns."""
        ordered = sorted(enumerate(scenario.faults), key=lambda item: (item[1].start_ms, item[0]))
        return [(number, fault, self._columns(fault)) for number, fault in ordered]

    def _columns(self, fault: Fault) -> Columns:
        if fault.ward:
            named: Sequence[str] = [unit.id for unit in self.units if unit.ward == fault.ward]
        elif fault.bridge:
            named = self.bridges.get(fault.bridge, ())
        else:
            named = fault.units or (fault.unit,)
        return np.array([index for index, unit in enumerate(self.ids) if unit in named], np.int64)


def meter_h(unit: Unit, drawn_h: float, start_ms: int) -> float:
    """What a unit's hour meter shows at the start.

    Where the site gives the date it was put in service, it has run since then from what the site says it showed.
    """
    shown_h = drawn_h if unit.hour_meter_h is None else unit.hour_meter_h
    if not isinstance(unit.in_service, date):
        return shown_h
    since = datetime(unit.in_service.year, unit.in_service.month, unit.in_service.day, tzinfo=UTC)
    ran_h = (start_ms - since.timestamp() * 1000) / _HOUR_MS
    return (unit.hour_meter_h or 0.0) + max(ran_h, 0.0)


def _bridges(scenario: Scenario, ids: list[str]) -> dict[str, tuple[str, ...]]:
    if not scenario.bridges:
        return {MAIN_BRIDGE: tuple(ids)}
    return {bridge.id: tuple(unit for unit in bridge.units if unit in ids) for bridge in scenario.bridges}
