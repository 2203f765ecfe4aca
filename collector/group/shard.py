"""One facility, followed in a thread of its own for as long as its collector holds it."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence
from typing import Final
from zlib import crc32

from collector import log
from collector.clock import Clock
from collector.door import Door
from collector.group.fence import Fenced, claim
from collector.group.group_file import Facility
from collector.group.session import take_session
from collector.live import Collector
from collector.store import Store, StoreError, open_store
from collector.store.connect import SHARED_MARK
from collector.topics import session_of

TURN_S: Final = 0.25
STUCK_S: Final = 120.0  # a turn that takes longer is no work but a fault


class Shard:
    """Opens the store, claims it at `epoch`, and turns the facility's collector until told to stop.

    Once it has `ended`, `fenced_by` is the newer epoch that the store was claimed at (0: none) and `said` what went
    wrong ("": nothing, it was asked to stop).
    """

    def __init__(
        self, facility: Facility, epoch: int, doors: Sequence[Door], clock: Clock, *, many_machines: bool = False
    ) -> None:
        self.facility, self.epoch = facility, epoch
        self.said, self.fenced_by = "", 0
        first = crc32(facility.site.facility.id.encode()) % len(doors)  # so that the nodes share the facilities
        self._doors, self._clock, self._many_machines = [*doors[first:], *doors[:first]], clock, many_machines
        self._stop = threading.Event()
        self._turned_s = time.monotonic()
        self._thread = threading.Thread(target=self._run, name=facility.site.facility.id, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask it to end; it finishes its turn, writes the end down and closes the store first."""
        self._stop.set()

    @property
    def ended(self) -> bool:
        """Whether nothing of it runs any more."""
        return not self._thread.is_alive()

    @property
    def stuck(self) -> bool:
        """Whether its turn takes so long that it hangs."""
        return not self.ended and time.monotonic() - self._turned_s > STUCK_S

    def _run(self) -> None:
        try:
            self._follow()
        except Fenced as error:
            self.said, self.fenced_by = str(error), error.seen
        except Exception as error:  # whatever it is, it must not end the other facilities
            self.said = str(error) if isinstance(error, StoreError) else f"{type(error).__name__}: {error}"
        if self.said:
            log.say("shard-ended", level=logging.ERROR, facility=self._thread.name, epoch=self.epoch, said=self.said)

    def _follow(self) -> None:
        data, site = self.facility.data, self.facility.site
        if self._many_machines:
            data.mkdir(parents=True, exist_ok=True)
            (data / SHARED_MARK).touch()
        with open_store(data, site.facility.id) as store:
            claim(store, self.epoch)
            collector = self._collector(store)
            log.say("shard-begun", facility=site.facility.id, epoch=self.epoch)
            try:
                while not self._stop.is_set():
                    collector.turn(TURN_S)
                    self._turned_s = time.monotonic()
            finally:
                collector.close()

    def _collector(self, store: Store) -> Collector:
        facility = self.facility
        take_session(self._doors, session_of(facility.site.facility.id))
        collector = Collector(
            facility.site, store, self._doors[0], self._clock,
            site_path=str(facility.site_file.absolute()), site_text=facility.text,
        )  # fmt: skip
        collector.line.other_doors.extend(self._doors[1:])
        return collector
