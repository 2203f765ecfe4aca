"""The state of every unit, stepped forward on a fixed grid: running, warming up, switching itself off, ageing.

Rules of this file: one row a step, one column a unit; each column has its own phase, so that units do not all report at
once. A step's result depends on the state and on the moment only, never on how many steps are asked for together.
"""

from __future__ import annotations

import copy
import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from collector.reading import LAMPS
from simulator import noise, physics
from simulator.effects import Effects, Flags
from simulator.noise import Times
from simulator.physics import Array
from simulator.roster import Roster
from simulator.scenario import Scenario
from simulator.sensors import Marks, Moment, hold

Lamps = NDArray[np.int64]  # index into LAMPS

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 86_400_000
_FLOW_SLOT_MS: Final = 6 * _HOUR_MS
_WANDER, _SLOT = 30, 31


class Block(NamedTuple):
    """Some rows of the truth."""

    moment: Moment
    truth: dict[str, Array]
    lamp: Lamps
    silent: Flags


class Plant:
    """All units at one moment; advance() steps them forward, fork() keeps a state to come back to."""

    def __init__(self, roster: Roster, scenario: Scenario, start_ms: int, story_ms: int, step_ms: int) -> None:
        self._roster, self._scenario = roster, scenario
        self._step_ms, self._story_ms = step_ms, story_ms
        self.base_ms = start_ms // step_ms * step_ms
        self.row = 0
        self.marks: Marks = {}
        self._stopped_share = physics.approach_share(step_ms / 1000, physics.STOPPED_TAU_S)
        self._cabinet_share = physics.approach_share(step_ms / 1000, physics.CABINET_TAU_S)
        count = len(roster)
        self._running = np.zeros(count, np.bool_)
        self._tripped = np.zeros(count, np.bool_)
        self._stalled = np.zeros(count, np.bool_)
        self._since_ms = np.full(count, 1e12)  # since its start: those that run at the beginning have run for long
        self._low_ms = np.zeros(count)
        self.run_ms = np.zeros(count)
        self._purity = np.full(count, physics.AIR_PCT)
        self._temp = np.zeros(count)
        self._settle()

    def _settle(self) -> None:
        """Begin as if the present had lasted for hours."""
        drive = self._drive(1)
        prepared = self._prepare(drive)
        self._running = drive.on[0] & (drive.volts_share[0] >= physics.STALLS_BELOW)
        self._purity = self._goal(prepared, 0, self._running)
        self._temp = prepared["air"][0] + self._running * prepared["heat"][0]

    def fork(self) -> Plant:
        """The same state once more."""
        other = copy.copy(self)
        for name in ("_running", "_tripped", "_stalled", "_since_ms", "_low_ms", "run_ms", "_purity", "_temp"):
            setattr(other, name, getattr(self, name).copy())
        other.marks = dict(self.marks)
        return other

    def times(self, rows: int) -> Times:
        """The moments of the next rows, in ms since 1970."""
        steps = np.arange(self.row, self.row + rows, dtype=np.int64) * self._step_ms + self.base_ms
        return np.asarray(steps[:, None] + self._roster.phase_ms[None, :])

    # -- what works on the units -----------------------------------------------------------------------------------

    def _drive(self, rows: int) -> Effects:
        time_ms = self.times(rows)
        effects = Effects(time_ms - self._story_ms, self._roster.on, self._flows(time_ms), self._volts(time_ms),
                          self._roster.rated_lpm)  # fmt: skip
        first_ms, last_ms = int(effects.at_ms.min(initial=0)), int(effects.at_ms.max(initial=0))
        for _number, fault, columns in self._roster.faults:
            if len(columns) and fault.touches(first_ms, last_ms):
                effects.apply(fault, columns)
        return effects

    def _flows(self, time_ms: Times) -> Array:
        """What is set on each unit: half a L/min up or down now and then, where nothing is fixed."""
        roster = self._roster
        flow = np.broadcast_to(roster.flow_lpm, time_ms.shape).copy()
        if self._scenario.scenario.flow_changes:
            slots = (time_ms + roster.phase_ms * 2_000) // _FLOW_SLOT_MS
            chance = noise.uniform(roster.key, slots, _SLOT)
            change = np.where(chance < 0.2, -0.5, np.where(chance > 0.8, 0.5, 0.0))
            varied = np.clip(flow + change, np.minimum(0.5, roster.flow_lpm), roster.most_lpm)
            flow = np.where(roster.steady, flow, varied)
        return flow

    def _volts(self, time_ms: Times) -> Array:
        """Voltage over nominal: within 3 % of it, slowly wandering, the same on all units of a ward."""
        phase = noise.between(self._roster.line_key, _WANDER, 0.0, 2 * math.pi)
        day = 2 * math.pi * (time_ms % _DAY_MS) / _DAY_MS
        return np.asarray(1.0 + 0.018 * np.sin(day + phase) + 0.009 * np.sin(5 * day + 2 * phase))

    def _air_c(self, at_ms: Times) -> Array:
        air = self._scenario.air
        day = 2 * math.pi * ((at_ms + self._story_ms) % _DAY_MS) / _DAY_MS
        return np.asarray(air.temp_c + air.swing_c * np.sin(day - 2.4))  # warmest in mid-afternoon

    # -- stepping --------------------------------------------------------------------------------------------------

    def advance(self, rows: int) -> Block:
        """Step all units `rows` steps forward and give the truth of each step."""
        drive = self._drive(rows)
        moment, prepared = Moment(self.times(rows), drive.at_ms), self._prepare(drive)
        shape = (rows, len(self._roster))
        on, purity, temp, run_ms = np.zeros(shape, np.bool_), np.empty(shape), np.empty(shape), np.empty(shape)
        for row in range(rows):
            self._step(drive, prepared, row)
            on[row], purity[row], temp[row], run_ms[row] = self._running, self._purity, self._temp, self.run_ms
        self.row += rows
        truth = self._truth(drive, on, np.where(on, prepared["drawn"], 0.0))
        truth |= {"purity_pct": purity, "temp_c": temp, "hours_h": self._hours(drive, run_ms)}
        return Block(moment, truth, self._lamps(on, purity), drive.silent)

    def _prepare(self, drive: Effects) -> dict[str, Array]:
        """What does not depend on the state, for the whole block at once."""
        roster, air, step_s, drawn = self._roster, self._air_c(drive.at_ms), self._step_ms / 1000, drive.drawn_lpm
        density = physics.inlet_density_share(self._roster.room_kpa, air)
        speed = physics.speed_share(drive.volts_share)
        return {
            "air": air,
            "drawn": drawn,
            "flow": drawn + drive.leak_lpm,
            "capacity": roster.capacity_lpm * drive.capacity * density * speed,
            "heat": np.asarray(physics.cabinet_heat_k(drawn / roster.rated_lpm, drive.intake)),
            "rise": physics.approach_share(step_s, roster.tau_s * drive.slowness),
            "fall": physics.approach_share(step_s, drive.fall_tau_s),
        }

    def _goal(self, prepared: dict[str, Array], row: int, on: Flags) -> Array:
        """The purity that each unit is on its way to."""
        capacity = prepared["capacity"][row] * physics.aged_share(self.run_ms / _HOUR_MS)
        goal = physics.purity_pct(prepared["flow"][row], capacity, self._roster.ceiling_pct, self._roster.knee)
        return np.where(on, goal, physics.AIR_PCT)

    def _step(self, drive: Effects, prepared: dict[str, Array], row: int) -> None:
        step_ms, volts = self._step_ms, drive.volts_share[row]
        self._stalled = (self._stalled & (volts < physics.STARTS_FROM)) | (volts < physics.STALLS_BELOW)
        self._tripped &= drive.on[row] & (volts > 0.5)
        on = drive.on[row] & ~self._stalled & ~self._tripped
        self._since_ms = np.where(on & ~self._running, 0.0, self._since_ms + step_ms)
        self.run_ms = self.run_ms + step_ms * (on & self._running)
        self._running = on
        goal = self._goal(prepared, row, on)
        falling = np.where(on, prepared["fall"][row], self._stopped_share)
        way = np.where(goal > self._purity, prepared["rise"][row], falling)
        self._purity = self._purity + way * (goal - self._purity)
        settled = prepared["air"][row] + on * prepared["heat"][row]
        self._temp = self._temp + self._cabinet_share * (settled - self._temp)
        low = on & (self._purity < self._roster.shutdown_pct) & (self._since_ms >= self._roster.warm_up_ms)
        self._low_ms = (self._low_ms + step_ms) * low
        self._tripped |= self._low_ms >= physics.SHUTDOWN_DELAY_S * 1000

    # -- what follows from the state -------------------------------------------------------------------------------

    def _truth(self, drive: Effects, on: Flags, flow: Array) -> dict[str, Array]:
        roster = self._roster
        load = flow / roster.rated_lpm
        running_w = physics.power_w(roster.rated_w, load, drive.intake) * drive.power
        supplied = drive.volts_share > 0.5
        idle_w = np.where(drive.on & supplied, physics.IDLE_W, 0.0)
        pressure = physics.outlet_kpa(load, physics.speed_share(drive.volts_share), drive.strength)
        return {
            "flow_lpm": flow,
            "power_w": np.where(on, running_w, idle_w),
            "volts": drive.volts_share * roster.nominal_volts,
            "pressure_kpa": np.where(on, pressure, 0.0),
        }

    def _hours(self, drive: Effects, run_ms: Array) -> Array:
        """The hour meters: from what they showed at the start, or since they were last reset."""
        hours = self._roster.meter_h + run_ms / _HOUR_MS
        for number, fault, at in self._roster.faults:
            if fault.kind == "meter-reset" and len(at):
                active = fault.active(drive.at_ms[:, at])
                then = run_ms.copy()
                hold(then, active, number, at, self.marks)
                hours[:, at] = np.where(active, fault.size + (run_ms - then)[:, at] / _HOUR_MS, hours[:, at])
        return hours

    def _lamps(self, on: Flags, purity: Array) -> Lamps:
        roster = self._roster
        level = np.where(purity >= roster.amber_pct, 0, np.where(purity >= roster.red_pct, 1, 2))
        return np.where(on, level, LAMPS.index("off"))
