"""A past for the charts: the same fleet's readings of the days before, thinned."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from collector.reading import Reading
from simulator.fleet import Fleet

EVERY_MS: Final = 60_000


def backfill(fleet: Fleet, from_ms: int, to_ms: int, every_ms: int = EVERY_MS) -> Iterator[Reading]:
    """The readings of the past; the fleet then goes on live from `to_ms` without a break.

    A fleet that begins days before its story (`Fleet(..., start_ms, story_ms=...)`) has its slow faults under way then.
    """
    return fleet.readings(from_ms, to_ms, every_ms)
