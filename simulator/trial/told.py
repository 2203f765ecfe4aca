"""What the product says of a story: its rules run over the recording exactly as `replay` runs them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from collector.reading import Reading
from collector.replay import Replay
from collector.rules.capacity.now import CapacityNow
from collector.rules.catalogue import CATALOGUE, WARD
from collector.rules.events import CLEARED, RAISED, Event
from simulator.trial.spells import Spell
from simulator.trial.story import UNIT, Story

#: Ward alerts that tell of the unit's output; the others (overdraw, supply, silence) are counted apart.
OUTPUT: Final = ("shutdown-expected", "purity-amber", "purity-red", "purity-shutdown")
#: Others that a ward may have heard before a shutdown: overdraw, supply, and a unit that is not to be turned up.
OTHER: Final = ("flow-above-rated", "supply-poor", "supply-lost", "capacity-falling")
#: Conditions whose events carry the cause of a loss.
_WITH_CAUSE: Final = (*OUTPUT, "capacity-falling", "sensor-suspect")
_UNKNOWN: Final = "unknown"


class Alarm(NamedTuple):
    """One alarm from its raising to its clearing; `ward`: the ward hears it."""

    condition: str
    ward: bool
    spell: Spell
    flow_lpm: float | None


class Told(NamedTuple):
    """Everything the rules said, and the estimate as it was at the moments asked for."""

    readings: int
    alarms: list[Alarm]
    cause: str
    snapshots: list[CapacityNow]

    def spells(self, conditions: Sequence[str], *, ward: bool = False) -> list[Spell]:
        """When any of these conditions stood; with `ward`, only what the ward heard."""
        return [alarm.spell for alarm in self.alarms if alarm.condition in conditions and (alarm.ward or not ward)]


def tell(story: Story, moments_ms: Sequence[int]) -> Told:
    """Run the rules; moments_ms rise, and the estimate is looked at after the first reading at or after each.

    The cause is that of the shutdown, or of the end where there was none.
    """
    replay = Replay(story.site())
    watch = _Watch(replay, story, moments_ms)
    for event in replay.events(watch.readings()):
        watch.take(event)
    watch.end()
    return Told(watch.count, watch.alarms(), watch.cause, watch.snapshots)


class _Watch:
    """Follows a replay: events into alarms, the cause up to the shutdown, the estimate at its moments."""

    def __init__(self, replay: Replay, story: Story, moments_ms: Sequence[int]) -> None:
        self.count = 0
        self.cause = ""
        self.snapshots: list[CapacityNow] = []
        self._replay, self._story, self._moments = replay, story, moments_ms
        self._upto_ms = story.shutdown_ms
        self._told_cause = _UNKNOWN
        self._open: dict[str, Alarm] = {}
        self._closed: list[Alarm] = []
        self._flow_lpm: float | None = None

    def readings(self) -> Iterator[Reading]:
        """The story's readings; between two of them the rules stand as of the first."""
        place, moments = 0, self._moments
        next_ms = moments[0] if moments else None
        for reading in self._story.readings():
            if self._upto_ms is not None and reading.time_ms > self._upto_ms:
                self._judge_cause()
            yield reading
            self.count += 1
            if next_ms is not None and reading.time_ms >= next_ms:
                self._look()
                while place < len(moments) and moments[place] <= reading.time_ms:
                    place += 1
                next_ms = moments[place] if place < len(moments) else None
            if reading.flow_lpm is not None:
                self._flow_lpm = reading.flow_lpm

    def _capacity(self) -> CapacityNow | None:
        return self._replay.engine.capacity_of(UNIT)

    def _look(self) -> None:
        capacity = self._capacity()
        if capacity is not None:
            self.snapshots.append(capacity)

    def take(self, event: Event) -> None:
        """An event of the replay."""
        name = event.condition
        if event.event == CLEARED:
            if (alarm := self._open.pop(name, None)) is not None:
                self._closed.append(alarm._replace(spell=Spell(alarm.spell.from_ms, event.time_ms)))
            return
        if name in _WITH_CAUSE and not self.cause:
            self._told_cause = event.cause
        if event.event == RAISED:
            ward = WARD in (event.audience or CATALOGUE[name].audience)
            self._open[name] = Alarm(name, ward, Spell(event.time_ms), self._flow_lpm)

    def _judge_cause(self) -> None:
        """The cause as it was told last; where that was none, as the estimate has it."""
        self._upto_ms = None
        capacity = self._capacity()
        estimate = capacity.cause if capacity is not None else ""
        self.cause = self._told_cause if self._told_cause != _UNKNOWN else estimate or _UNKNOWN

    def end(self) -> None:
        """The recording is over."""
        if not self.cause:
            self._judge_cause()

    def alarms(self) -> list[Alarm]:
        """Every alarm, those that still stand included, in the order of raising."""
        return sorted([*self._closed, *self._open.values()], key=lambda alarm: alarm.spell.from_ms)
