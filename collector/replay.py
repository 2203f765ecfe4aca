"""The same rules over recorded readings, in event time, streaming in constant memory."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import msgspec

from collector.reading import Reading
from collector.recording import Broken, read_recording
from collector.rules.engine import RulesEngine
from collector.rules.events import Event
from collector.rules.limits import LIMITS, Limits
from collector.site import Site

_FORGET_EVERY: Final = 4096  # readings


class Summary(msgspec.Struct):
    """What a replay went through: counts, the first and last moment, and how often each condition was raised."""

    readings: int = 0
    late: int = 0
    unknown_units: int = 0
    broken: int = 0
    events: int = 0
    first_ms: int | None = None
    last_ms: int | None = None
    raised: dict[str, int] = {}


def merged(paths: Iterable[Path], broken: Broken, facility: str) -> Iterator[Reading]:
    """Several recordings as one stream in time order, each file being in time order itself."""
    streams = [read_recording(path, named(path, broken), facility) for path in paths]
    return streams[0] if len(streams) == 1 else heapq.merge(*streams, key=lambda reading: reading.time_ms)


def named(path: Path, broken: Broken) -> Broken:
    """`broken`, with the file and row in front of the reason."""
    return lambda row, reason: broken(row, f"{path}:{row}: {reason}")


class Replay:
    """Runs the rules of a site over a stream of readings; `summary` is true at any moment of it."""

    def __init__(self, site: Site, limits: Limits = LIMITS) -> None:
        self.engine = RulesEngine(site, limits)
        self.summary = Summary()
        self._known = {unit.id for unit in site.units}
        self._raised: Counter[str] = Counter()

    def events(self, readings: Iterable[Reading]) -> Iterator[Event]:
        """Yield what the rules find; readings of units that the site does not have are counted and left out."""
        for reading in readings:
            yield from self.take(reading)

    def take(self, reading: Reading) -> list[Event]:
        """Take in one reading, with what was due before it, and return what the rules found."""
        summary = self.summary
        if reading.unit not in self._known:
            summary.unknown_units += 1
            return []
        time_ms = reading.time_ms
        summary.readings += 1
        found: list[Event] = []
        if summary.last_ms is None or time_ms > summary.last_ms:
            summary.first_ms = time_ms if summary.first_ms is None else summary.first_ms
            summary.last_ms = time_ms
            found = self.engine.tick(time_ms)
        found = found + self.engine.read(reading, time_ms)
        summary.late = self.engine.late
        if not summary.readings % _FORGET_EVERY:  # nobody takes these here, and the past may be long
            self.engine.take_notes()
            self.engine.take_capacity_points()
        return self._count(found) if found else found

    def _count(self, events: list[Event]) -> list[Event]:
        self.summary.events += len(events)
        self._raised.update(event.condition for event in events if event.event == "raised")
        self.summary.raised = dict(self._raised)
        return events
