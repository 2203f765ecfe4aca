"""Made tracks of one unit at the bed, with seeded noise, from a capacity that only the test knows.

The purity curve has a knee that is none of those the estimate carries, so that no test rests on its being right.
"""

import random
from collections.abc import Iterator

from collector.reading import Reading
from collector.rules.engine import RulesEngine
from collector.rules.events import Event
from collector.rules.limits import LIMITS, Limits
from tests.scenario_files import START_MS, scenario_site

AIR_PCT, AMBER_PCT, KNEE = 20.9, 85.0, 7.0
Value = float | tuple[float, float] | None


def purity_at(flow_lpm: float, capacity_lpm: float, plateau_pct: float = 94.0) -> float:
    """Purity in %; at a flow of just the capacity it is the amber limit."""
    at_amber = ((AMBER_PCT - AIR_PCT) / (plateau_pct - AIR_PCT)) ** -KNEE - 1.0
    share = (1.0 + at_amber * (flow_lpm / capacity_lpm) ** KNEE) ** (-1.0 / KNEE)
    return float(AIR_PCT + (plateau_pct - AIR_PCT) * share)


class Bed:
    """One unit of the scenario site under the rules, with a clock that `run` moves; keeps all that was said of it."""

    def __init__(
        self, unit: str = "m1", every_s: int = 10, noise_pct: float = 0.1, seed: int = 1, limits: Limits = LIMITS
    ) -> None:
        self.engine, self.unit, self.every_s = RulesEngine(scenario_site(), limits), unit, every_s
        self.noise_pct, self.time_ms = noise_pct, START_MS
        self.rng = random.Random(seed)  # noqa: S311 - invented values, no secret
        self.events: list[Event] = []

    def run(self, minutes: float, **values: Value) -> list[Event]:
        """Let time pass; a pair of values is a straight line between them. Returns what was said."""
        said: list[Event] = []
        for reading in self.readings(minutes, **values):
            said += self.engine.tick(reading.time_ms) + self.engine.read(reading, reading.time_ms)
        self.events += (said := [e for e in said if e.unit == self.unit])
        return said

    def readings(self, minutes: float, **values: Value) -> Iterator[Reading]:
        """The readings of that time: purity_pct as given, else what capacity_lpm and flow_lpm make of it."""
        count = max(int(minutes * 60 / self.every_s), 1)
        for step in range(count):
            now = {name: _at(value, step / count) for name, value in values.items()}
            yield self._measured(now)
            self.time_ms += self.every_s * 1000

    def _measured(self, now: dict[str, float | None]) -> Reading:
        flow = now.get("flow_lpm", 4.0)
        capacity, plateau = now.get("capacity_lpm") or 8.0, now.get("plateau_pct") or 94.0
        purity = now["purity_pct"] if "purity_pct" in now else purity_at(flow or 0.01, capacity, plateau)
        power = now.get("power_w", 340.0)
        return Reading(
            self.unit, self.time_ms, None if purity is None else round(purity + self.rng.gauss(0, self.noise_pct), 2),
            flow, None if power is None else round(power + self.rng.gauss(0, 2.0), 1), now.get("temp_c", 31.0),
            now.get("volts", 230.0), now.get("pressure_kpa"),
        )  # fmt: skip

    def said(self, condition: str) -> list[Event]:
        """All that was said of one condition."""
        return [event for event in self.events if event.condition == condition]

    def first(self, condition: str) -> Event | None:
        """When a condition was first raised."""
        return next(iter(self.said(condition)), None)

    def moves(self, condition: str) -> list[str]:
        """Raised, updated and cleared, in order."""
        return [event.event for event in self.said(condition)]


def _at(value: Value, share: float) -> float | None:
    return value[0] + (value[1] - value[0]) * share if isinstance(value, tuple) else value
