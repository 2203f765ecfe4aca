"""Takes recorded readings into a store by the same rules, in their own time: a unit's past, before it goes on live."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import Final

from collector.followed import Followed
from collector.reading import Reading
from collector.rules.entries import entry_of
from collector.rules.events import Event
from collector.site import Site
from collector.store import Store

_BATCH: Final = 2_000


def take_in(
    site: Site, store: Store, readings: Iterable[Reading], wall_ms: int, shown: Callable[[int], None] | None = None
) -> int:
    """Store readings in the order of their times, with what the rules find; returns how many were new.

    Nobody is told: it is the past. Every batch is one transaction; StoreError leaves what was committed before.
    """
    followed = Followed(site, store)
    done = new = 0
    for batch in _batches(iter(readings)):
        news = [entry_of(event) for event in _judge(followed, batch)]
        with store.transaction():
            new += store.add_readings(batch)
            followed.save_units()
            followed.write([*news, *followed.engine.take_notes()], wall_ms)
        followed.engine.clear_touched()
        done += len(batch)
        if shown is not None:
            shown(done)
    return new


def _batches(readings: Iterator[Reading]) -> Iterator[list[Reading]]:
    while batch := list(islice(readings, _BATCH)):
        yield batch


def _judge(followed: Followed, batch: list[Reading]) -> Iterator[Event]:
    engine = followed.engine
    for reading in batch:
        yield from engine.tick(reading.time_ms)
        yield from engine.read(reading, reading.time_ms)
