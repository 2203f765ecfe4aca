"""What a bridge keeps until a broker has it: on disk, and in memory while the disk does not take it.

Rules of this file: nothing here raises. A spool that is damaged is set aside, said, and a new one begun; while the disk
takes nothing, the newest readings stay in memory, bounded, and `said` tells why. A reading is forgotten only when it is
done, or dropped and counted. What was done but not yet written as such is sent again after a crash: the store knows a
reading by its unit and moment, and keeps it once.

A time before EARLIEST_MS counts from the machine's start (see timekeeper.py): such a reading waits until it is dated.
"""

from __future__ import annotations

import logging
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from collector import log
from collector.bridge.spool_file import Row, SpoolError, SpoolFile
from collector.reading import EARLIEST_MS, Reading

MEMORY_MAX: Final = 20_000  # readings: some MB, and more than two hours of 24 units at 10 s
DONE_MAX: Final = 2_000  # so many are forgotten in a change of their own; fewer wait for the next one
RETRY_S: Final = 5.0
NAME: Final = "spool.sqlite3"
_BEFORE_FILE: Final = -(2**60)


class Spool:
    """`waiting` counts what no broker has, `dropped` what was lost for want of room, ever; `said`, "" when all is well.

    `aside` says that a damaged spool was set aside since the start. boot names the machine's present start. What is
    taken is not given out again until it is given back.
    """

    def __init__(
        self, path: Path, limit_bytes: int, *, boot: str = "", memory_max: int = MEMORY_MAX,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.path, self._limit_bytes, self._boot, self._memory_max = path, limit_bytes, boot, memory_max
        self._monotonic_s = monotonic_s
        self.said = self.aside = ""
        self._file: SpoolFile | None = None
        self._memory: OrderedDict[int, Reading] = OrderedDict()  # not on disk, oldest first
        self._taken: set[int] = set()
        self._done: set[int] = set()  # on disk still, but with the broker
        self._dropped, self._known = 0, (0, 0)  # dropped but not yet on record; the file's own counts when last seen
        self._cursor, self._retry_s = 0, float("-inf")
        # Ids below zero are of readings that came before the file could be opened: they collide with none in it.
        self._next_id = _BEFORE_FILE
        self._ready()

    # -- what is known ---------------------------------------------------------------------------------------------

    @property
    def waiting(self) -> int:
        """Readings that no broker has acknowledged."""
        on_disk = self._file.waiting if self._file else self._known[0]
        return max(0, on_disk - len(self._done)) + len(self._memory)

    @property
    def dropped(self) -> int:
        """Readings lost for want of room, or because their bytes or their moment could not be known any more."""
        return (self._file.dropped if self._file else self._known[1]) + self._dropped

    @property
    def untaken(self) -> int:
        """Readings that are not on their way."""
        return max(0, self.waiting - len(self._taken))

    @property
    def undated(self) -> int:
        """Readings whose moment is not known yet."""
        try:
            on_disk = self._file.undated if self._file else 0
        except SpoolError as error:
            self._failed(error)
            on_disk = 0
        return on_disk + sum(reading.time_ms < EARLIEST_MS for reading in self._memory.values())

    @property
    def oldest_ms(self) -> int | None:
        """When the oldest reading was taken that waits; None when none does, or its moment is not known yet."""
        try:
            rows = self._file.read(0, len(self._done) + 1) if self._file else []
        except SpoolError as error:
            self._failed(error)
            rows = []
        times = [reading.time_ms for one, reading in rows if one not in self._done][:1]
        times += [reading.time_ms for reading in self._memory.values() if reading.time_ms >= EARLIEST_MS][:1]
        return times[0] if times else None

    # -- in and out ------------------------------------------------------------------------------------------------

    def put(self, readings: Sequence[Reading]) -> list[Row]:
        """Keep readings, on disk when this returns unless `said` says otherwise; returns them with their ids."""
        rows = list(enumerate(readings, self._next_id))
        self._next_id += len(rows)
        for one, reading in rows:
            self._memory[one] = reading
        self._write()
        while len(self._memory) > self._memory_max:
            one, _ = self._memory.popitem(last=False)
            self._dropped += one not in self._taken
            self._taken.discard(one)
        return rows

    def take(self, many: int) -> list[Row]:
        """The oldest readings that are dated and not taken, in the order in which they came."""
        rows: list[Row] = []
        while len(rows) < many and (found := self._read(many)):
            self._cursor = found[-1][0]
            rows += [row for row in found if row[0] not in self._taken and row[0] not in self._done]
        if len(rows) < many:
            rows += [row for row in self._memory.items() if row[0] not in self._taken and row[1].time_ms >= EARLIEST_MS]
        if len(rows) > many:
            self._cursor = min(self._cursor, rows[many][0] - 1)
            rows = rows[:many]
        self._taken.update(one for one, _ in rows)
        return rows

    def _read(self, many: int) -> list[Row]:
        if self._file is None:
            return []
        try:
            return self._file.read(self._cursor, many)
        except SpoolError as error:
            self._failed(error)
            return []

    def mark_taken(self, ids: Iterable[int]) -> None:
        """These go out by another way than `take`."""
        self._taken.update(ids)

    def give_back(self, ids: Iterable[int]) -> None:
        """These did not go out after all."""
        back = self._taken.intersection(ids)
        self._taken -= back
        if back:
            self._cursor = min(self._cursor, min(back) - 1)

    def done(self, ids: Iterable[int]) -> None:
        """A broker has these: they may be forgotten."""
        for one in ids:
            self._taken.discard(one)
            if self._memory.pop(one, None) is None and one > 0:
                self._done.add(one)
        if len(self._done) >= DONE_MAX:
            self._write()

    def date(self, offset_ms: int) -> int:
        """The machine's start is known to have been at offset_ms: date what waits for that, and return how many."""
        dated = 0
        if self._file is not None:
            try:
                dated = self._file.date(offset_ms)
            except SpoolError as error:
                self._failed(error)
        for reading in self._memory.values():
            if reading.time_ms < EARLIEST_MS:
                reading.time_ms += offset_ms
                dated += 1
        self._cursor = 0
        return dated

    def close(self) -> None:
        """Write down what is known and let go of the file."""
        self._write()
        if self._file is not None:
            self._file.close()
            self._file = None

    # -- the disk --------------------------------------------------------------------------------------------------

    def _ready(self) -> SpoolFile | None:
        """The file, opened when it is time to try; None while the disk does not take anything."""
        if self._file is not None and not self.said:
            return self._file
        if self._monotonic_s() < self._retry_s:
            return None
        if self._file is None:
            try:
                self._open()
            except (SpoolError, OSError) as error:
                self._failed(error)
        return self._file

    def _open(self) -> None:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            file = SpoolFile(self.path, self._limit_bytes, self._boot)
        except SpoolError as error:
            if not error.damaged:
                raise
            self._set_aside(str(error))
            file = SpoolFile(self.path, self._limit_bytes, self._boot)
        if file.undatable:
            said = "no clock was known before the machine was started anew"
            log.say("bridge-undatable", level=logging.WARNING, readings=file.undatable, said=said)
        self._file, self._cursor = file, 0
        if self._next_id < 0:
            self._number_anew(file.last_id + 1)

    def _number_anew(self, first: int) -> None:
        """Readings from before the file could be opened get ids in it; those on their way will be sent once more."""
        self._memory = OrderedDict(enumerate(self._memory.values(), first))
        self._next_id = first + len(self._memory)
        self._taken.clear()

    def _write(self) -> None:
        """Put on disk what is only in memory, and forget what is done."""
        file = self._ready()
        if file is None or not (self._memory or self._done or self._dropped):
            return
        try:
            file.change(list(self._memory.items()), self._done, self._taken, self._dropped)
        except SpoolError as error:
            self._failed(error)
            return
        self._memory.clear()
        self._done.clear()
        self._dropped = 0
        if self.said:
            log.say("bridge-spool", state="good")
            self.said = ""

    def _failed(self, error: Exception) -> None:
        self._retry_s = self._monotonic_s() + RETRY_S
        if self._file is not None:
            self._known = self._file.waiting, self._file.dropped
            if isinstance(error, SpoolError) and error.damaged:
                self._lose_file(str(error))
        if str(error) != self.said:
            log.say("bridge-spool", level=logging.ERROR, state="failed", said=str(error))
        self.said = str(error)

    def _lose_file(self, said: str) -> None:
        """A file that turns out damaged at work: what waited in it counts as dropped."""
        if self._file is not None:
            self._file.close()
        waited, dropped = self._known
        self._dropped += dropped + max(0, waited - len(self._done))
        self._file, self._known = None, (0, 0)
        self._done.clear()
        self._taken.intersection_update(self._memory)
        self._set_aside(said)
        self._retry_s = float("-inf")

    def _set_aside(self, said: str) -> None:
        """Move a damaged spool away under one name, so that damage upon damage does not fill the disk."""
        log.say("bridge-spool", level=logging.ERROR, state="set-aside", said=said)
        self.aside = f"a damaged spool was set aside: {said}"
        for ending in ("", "-wal", "-shm"):
            part = self.path.with_name(self.path.name + ending)
            with suppress(OSError):  # not there, or a disk that takes nothing: then opening fails again, and says so
                part.replace(self.path.with_name(f"damaged-{self.path.name}{ending}"))
