"""A fleet that plays a scenario: readings in the order of their moments, as many as one likes, in constant memory."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Final

import numpy as np

from collector.reading import LAMPS, QUANTITIES, Reading
from collector.site import Site
from simulator import sensors
from simulator.effects import Flags
from simulator.faults import Fault
from simulator.physics import Array
from simulator.plant import Block, Plant
from simulator.roster import Roster
from simulator.scenario import Scenario

_ROWS: Final = 64  # rows a block: numpy's cost a call is spread, and a block of 500 units is still small
#: How often a unit reports when nothing else is said.
STEP_MS: Final = 10_000
Due = tuple[int, Reading]


class Fleet:
    """The units of a site in a scenario from `start_ms` on; offsets of the scenario count from `story_ms`.

    `start_ms` may lie days before `story_ms`: the fleet then has a past, with whatever the scenario says about it.
    The data at a moment depend on site, scenario, seed, start and step only, whatever is asked for first. Times in ms
    since 1970; `step_ms` is how often each unit reports.
    """

    def __init__(
        self, site: Site, scenario: Scenario, seed: int, start_ms: int, *, story_ms: int | None = None,
        step_ms: int = STEP_MS,
    ) -> None:  # fmt: skip
        self.site, self.scenario, self.seed = site, scenario, seed
        self.start_ms, self.step_ms = start_ms, step_ms
        self.story_ms = start_ms if story_ms is None else story_ms
        self._roster = Roster(site, scenario, seed, start_ms, step_ms)
        self._silences: dict[str, list[Fault]] = {}
        for fault in scenario.faults:
            if fault.kind == "bridge-silent":
                self._silences.setdefault(fault.bridge, []).append(fault)
        self._parked: Plant | None = None
        self._lock = threading.Lock()

    @property
    def facility(self) -> str:
        """The facility's id."""
        return self.site.facility.id

    @property
    def units(self) -> tuple[str, ...]:
        """The ids of the units that are played, in the site's order; not those out of service."""
        played = set(self._roster.ids)
        return tuple(unit.id for unit in self.site.units if unit.id in played)

    @property
    def bridges(self) -> dict[str, tuple[str, ...]]:
        """The units behind each bridge."""
        return self._roster.bridges

    def silent(self, bridge: str, at_ms: int) -> bool:
        """Whether a bridge says nothing at a moment."""
        at = at_ms - self.story_ms
        return any(fault.touches(at, at) for fault in self._silences.get(bridge, ()))

    def readings(self, from_ms: int, to_ms: int | None = None, every_ms: int | None = None) -> Iterator[Reading]:
        """The readings of from_ms <= moment < to_ms (None: without end), in the order of their moments.

        `every_ms` (a multiple of the step) leaves out all but one step in that time, as a bridge does that thins what
        it has kept; then none is lost on its way. A unit whose clock is off carries its own times. ValueError for a
        moment before the fleet's start.
        """
        return (reading for _due_ms, reading in self.timed(from_ms, to_ms, every_ms))

    def timed(self, from_ms: int, to_ms: int | None = None, every_ms: int | None = None) -> Iterator[Due]:
        """As readings(), each with the true moment at which it is taken."""
        if from_ms < self.start_ms:
            raise ValueError(f"the fleet begins at {self.start_ms}; {from_ms} is before it")
        every = self.step_ms if every_ms is None else every_ms
        if every < self.step_ms or every % self.step_ms:
            raise ValueError(f"every_ms must be a multiple of the fleet's step of {self.step_ms} ms, not {every}")
        return self._timed(from_ms, to_ms, every // self.step_ms) if len(self._roster) else iter(())

    # -- blocks ----------------------------------------------------------------------------------------------------

    def _timed(self, from_ms: int, to_ms: int | None, ratio: int) -> Iterator[Due]:
        plant = self._take(from_ms)
        kept = plant.fork()
        last_row = None if to_ms is None else (to_ms - 1 - plant.base_ms) // self.step_ms
        first_row = (from_ms - plant.base_ms) // self.step_ms
        try:
            while last_row is None or plant.row <= last_row:
                kept = plant.fork()
                rows = self._rows(plant.row, first_row, last_row)
                wanted = plant.row + rows > first_row
                yield from self._emit(plant, rows, from_ms, to_ms, ratio if wanted else 0)
        finally:
            self._park(kept)

    @staticmethod
    def _rows(row: int, first_row: int, last_row: int | None) -> int:
        """Blocks end before the first row wanted and before the last one, so that the state there can be kept."""
        rows = min(_ROWS, first_row - row) if row < first_row else _ROWS
        if last_row is not None and row < last_row:
            rows = min(rows, last_row - row)
        return max(1 if last_row == row else rows, 1)

    def _take(self, from_ms: int) -> Plant:
        with self._lock:
            plant, self._parked = self._parked, None
        row = (from_ms - self.start_ms // self.step_ms * self.step_ms) // self.step_ms
        if plant is not None and plant.row <= row:
            return plant
        return Plant(self._roster, self.scenario, self.start_ms, self.story_ms, self.step_ms)

    def _park(self, plant: Plant) -> None:
        with self._lock:
            if self._parked is None or self._parked.row < plant.row:
                self._parked = plant

    def _emit(self, plant: Plant, rows: int, from_ms: int, to_ms: int | None, ratio: int) -> Iterator[Due]:
        """Step `rows` rows and give the readings of every `ratio`-th of them; 0: of none."""
        first_row = plant.row
        block = plant.advance(rows)
        chosen = [i for i in range(rows) if ratio and (first_row + i) % ratio == 0]
        if self._begins_to_hold(block):
            chosen_in_full = list(range(rows))  # what a sensor holds is what it showed when it stuck
        elif chosen:
            chosen_in_full = chosen
        else:
            return iter(())
        block = _picked(block, chosen_in_full)
        seen = self._seen(block, plant)
        if chosen_in_full != chosen:
            at = [chosen_in_full.index(i) for i in chosen]
            block, seen = _picked(block, at), {name: values[at] for name, values in seen.items()}
        return self._readings(block, seen, from_ms, to_ms, all_arrive=ratio > 1) if chosen else iter(())

    def _begins_to_hold(self, block: Block) -> bool:
        at_ms = block.moment.at_ms
        first_ms, last_ms = int(at_ms[0].min()), int(at_ms[-1].max())
        begun_ms = self.start_ms - self.story_ms  # what was stuck before the fleet began, sticks when it begins
        starts = [max(fault.start_ms, begun_ms) for fault in self.scenario.faults if fault.kind == "sensor-stuck"]
        return any(first_ms - self.step_ms <= start_ms <= last_ms for start_ms in starts)

    def _seen(self, block: Block, plant: Plant) -> dict[str, Array]:
        roster, settings = self._roster, self.scenario.sensors
        seen = sensors.measure(block.truth, block.moment, roster.key, settings)
        sensors.disturb(seen, block.moment, roster.key, roster.faults, plant.marks)
        sensors.leave_out(seen, block.moment, roster.key, settings)
        for name, columns in roster.without.items():
            seen[name] = np.where(columns, np.nan, seen[name])
        return seen

    def _readings(
        self, block: Block, seen: dict[str, Array], from_ms: int, to_ms: int | None, *, all_arrive: bool
    ) -> Iterator[Due]:
        roster, due_ms = self._roster, block.moment.time_ms
        wanted = ~block.silent & (due_ms >= from_ms)
        if not all_arrive:
            wanted &= sensors.arrives(block.moment, roster.key, self.scenario.sensors)
        if to_ms is not None:
            wanted &= due_ms < to_ms
        unit_ids = np.broadcast_to(np.array(roster.ids, object), due_ms.shape)[wanted].tolist()
        shown_ms = sensors.shown_time(block.moment, roster.faults)[wanted].tolist()
        columns = [_listed(seen[name], wanted) for name in QUANTITIES]
        lamps = [LAMPS[i] for i in block.lamp[wanted].tolist()] if self.scenario.scenario.lamp else None
        if lamps is not None:
            return zip(due_ms[wanted].tolist(), map(Reading, unit_ids, shown_ms, *columns, lamps), strict=True)
        return zip(due_ms[wanted].tolist(), map(Reading, unit_ids, shown_ms, *columns), strict=True)


def _picked(block: Block, rows: list[int]) -> Block:
    if len(rows) == len(block.lamp) and rows == list(range(len(rows))):
        return block
    moment = sensors.Moment(block.moment.time_ms[rows], block.moment.at_ms[rows])
    truth = {name: values[rows] for name, values in block.truth.items()}
    return Block(moment, truth, block.lamp[rows], block.silent[rows])


def _listed(values: Array, wanted: Flags) -> list[float | None]:
    chosen = values[wanted]
    if np.isnan(chosen).any():
        return [None if value != value else value for value in chosen.tolist()]
    return chosen.tolist()  # type: ignore[no-any-return]
