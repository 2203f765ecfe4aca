"""A replay in several processes, each with whole wards of its own: the same events in the same order as in one.

Rules of this file: nothing of the rules is here. A unit's events depend on its own readings, its ward's other units,
the facility's first reading and how far time has come; so a process that has whole wards, and the times of all
readings, finds what one process would. Each event carries a key that says where in the one order it stands: the reading
at which one process would find it and, of what was due before that reading, the deadline.
"""

from __future__ import annotations

import heapq
import multiprocessing
import os
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

from collector.blocks import Block, Past, Whose, blocks
from collector.reading import Reading
from collector.recording import RecordingError
from collector.replay import Summary
from collector.rules.engine import Deadline, RulesEngine
from collector.rules.events import Event, event_line
from collector.site import Site
from collector.store.connect import store_path
from collector.store.errors import StoreError

#: Of the reading at which it is found, 0 for what was due before it or 1, the deadline, and the place among its like.
Key = tuple[int, int, Deadline, int]
_NO_DEADLINE: Final[Deadline] = (0, 0, "")
_READ: Final = 1
_WORTH_BYTES: Final = 4_000_000  # a second's work in one process


class _Part(msgspec.Struct, array_like=True):
    """What a process says: how many readings it has seen, broken rows, events, and at the end the sum of it."""

    seen: int
    broken: list[tuple[int, str]] = []
    events: list[tuple[Key, bytes]] = []
    summary: Summary | None = None
    failed: str = ""


class Shard:
    """The rules over one's own wards of a site; `summary` counts one's own, but for times and unknown units."""

    def __init__(self, site: Site, own: frozenset[str]) -> None:
        self.engine = RulesEngine(site.model_copy(update={"units": tuple(u for u in site.units if u.id in own)}))
        self.summary = Summary()
        self.seen = 0  # readings of the whole site
        self._newest_ms = self._ticked_ms = 0
        self._raised: Counter[str] = Counter()

    def take(self, block: Block) -> list[tuple[Key, Event]]:
        """Take in a block and return what was found, in order, each with its key."""
        self.summary.unknown_units += block.unknown
        if not len(block.time_ms):
            return []
        if self.summary.first_ms is None:
            self.summary.first_ms = self._newest_ms = int(block.time_ms[0])
            self.engine.begin(self.summary.first_ms)
        until_ms = np.maximum(np.maximum.accumulate(block.time_ms), self._newest_ms)
        found = self._read(block, until_ms)
        self.summary.last_ms = self._newest_ms = int(until_ms[-1])
        self._tick(self._newest_ms, until_ms, found)
        self.seen += len(block.time_ms)
        self.engine.take_notes()  # nobody takes these here, and the past may be long
        self.engine.take_capacity_points()
        self.summary.events += len(found)
        self._raised.update(event.condition for _, event in found if event.event == "raised")
        self.summary.raised, self.summary.late = dict(self._raised), self.engine.late
        return found

    def _read(self, block: Block, until_ms: NDArray[np.int64]) -> list[tuple[Key, Event]]:
        found: list[tuple[Key, Event]] = []
        read, seen = self.engine.read, self.seen
        newest = until_ms[block.places].tolist()
        reading: Reading
        for place, now_ms, reading in zip(block.places, newest, block.readings, strict=True):
            self._tick(now_ms, until_ms, found)
            if events := read(reading, reading.time_ms):
                found += [((seen + place, _READ, _NO_DEADLINE, n), event) for n, event in enumerate(events)]
        self.summary.readings += len(block.places)
        return found

    def _tick(self, now_ms: int, until_ms: NDArray[np.int64], found: list[tuple[Key, Event]]) -> None:
        """One process does what is due at the first reading, anybody's, with which time comes on so far."""
        if now_ms <= self._ticked_ms:
            return
        if not self.engine.is_due(now_ms):
            self.engine.tick(now_ms)
            self._ticked_ms = now_ms
            return
        for deadline, events in self.engine.deadlines(now_ms):
            place = self.seen + int(np.searchsorted(until_ms, max(deadline[0], self._ticked_ms), side="right"))
            found += [((place, 0, deadline, n), event) for n, event in enumerate(events)]
        self._ticked_ms = now_ms


def shares(site: Site, jobs: int) -> list[frozenset[str]]:
    """The units of a site in at most so many shares of whole wards, as even as they can be."""
    found: list[set[str]] = [set() for _ in range(jobs)]
    for ward in sorted(site.places(), key=lambda ward: -len(site.units_of(ward.id))):
        min(found, key=len).update(unit.id for unit in site.units_of(ward.id))
    return [frozenset(share) for share in found if share] or [frozenset()]


def worthwhile_jobs(past: Past) -> int:
    """A process a core, or one where starting others would take longer than the work."""
    files = [store_path(past.data)] if past.data is not None else past.files
    size = sum(path.stat().st_size for path in files if path.exists())
    return (os.cpu_count() or 1) if size >= _WORTH_BYTES else 1


def _work(site: Site, past: Past, own: frozenset[str], pipe: Connection) -> None:
    """What each process does; the one that reads from the pipe may go away at any moment."""
    whose = Whose(frozenset(unit.id for unit in site.units), own)
    shard, broken = Shard(site, own), list[tuple[int, str]]()
    encode = msgspec.msgpack.encode
    with suppress(BrokenPipeError, ConnectionResetError):
        try:
            for block in blocks(past, whose, lambda row, reason: broken.append((row, reason)), site.facility.id):
                events = [(key, event_line(event)) for key, event in shard.take(block)]
                pipe.send_bytes(encode(_Part(shard.seen, broken, events)))
                broken.clear()
            pipe.send_bytes(encode(_Part(shard.seen, broken, summary=shard.summary)))
        except (RecordingError, StoreError) as error:
            pipe.send_bytes(encode(_Part(shard.seen, failed=str(error))))


class ShardedReplay:
    """Runs the rules of a site over a past in several processes; `summary` is whole when `lines` has ended."""

    def __init__(self, site: Site, past: Past, jobs: int) -> None:
        self._site, self._past, self._shares = site, past, shares(site, jobs)
        self.summary = Summary()

    def lines(self, broken: Callable[[int, str], None], shown: Callable[[int], None]) -> Iterator[bytes]:
        """Yield what the rules find as lines, in order; `shown` is told how many readings are through.

        RecordingError when the past cannot be read.
        """
        context = multiprocessing.get_context("spawn")
        processes, pipes = [], list[Connection]()
        try:
            for share in self._shares:
                ours, theirs = context.Pipe(duplex=False)
                process = context.Process(target=_work, args=(self._site, self._past, share, theirs), daemon=True)
                process.start()
                theirs.close()
                processes.append(process)
                pipes.append(ours)
            yield from self._merged(pipes, broken, shown)
        finally:
            for process in processes:
                process.terminate()
                process.join()

    def _merged(
        self, pipes: list[Connection], broken: Callable[[int, str], None], shown: Callable[[int], None]
    ) -> Iterator[bytes]:
        """All that stands before what the slowest process has seen is whole, and goes out."""
        decode = msgspec.msgpack.Decoder(_Part).decode
        seen = dict.fromkeys(range(len(pipes)), 0)
        held: list[tuple[Key, bytes]] = []
        while seen:
            for pipe in wait([pipes[place] for place in seen]):
                place = pipes.index(pipe)  # type: ignore[arg-type]
                part = decode(_received(pipes[place]))
                self._note(part, place, broken)
                seen[place] = part.seen
                for event in part.events:
                    heapq.heappush(held, event)
                if part.summary is not None:
                    del seen[place]
            whole = min(seen.values(), default=None)
            if whole is not None:
                shown(whole)
            while held and (whole is None or held[0][0][0] < whole):
                yield heapq.heappop(held)[1]

    def _note(self, part: _Part, place: int, broken: Callable[[int, str], None]) -> None:
        if part.failed:
            raise RecordingError(part.failed)
        if place == 0:  # each process sees every broken row
            for row, reason in part.broken:
                broken(row, reason)
        if (more := part.summary) is None:
            return
        summary = self.summary
        summary.readings += more.readings
        summary.late += more.late
        summary.events += more.events
        summary.unknown_units, summary.first_ms, summary.last_ms = more.unknown_units, more.first_ms, more.last_ms
        summary.raised = dict(Counter(summary.raised) + Counter(more.raised))


def _received(pipe: Connection) -> bytes:
    try:
        return pipe.recv_bytes()
    except EOFError as error:
        raise RecordingError("a process of the replay ended before its work; try `--jobs 1`") from error
