"""The loop that joins intake, rules, store and notify, in one thread.

Rules of this file: what a batch of messages leads to (readings, events, unit rows, alarms) goes into the store in ONE
transaction, and only then is the batch acknowledged; wards are told from what is stored, never before. When the store
fails, nothing of the batch counts: the rules go back to what is stored, the connection is broken, and the broker sends
the batch again.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Callable
from operator import attrgetter
from typing import Any, Final

from collector import bridge_words, log
from collector.bridge.timekeeper import since_start_ms
from collector.clock import Clock
from collector.door import Door
from collector.followed import Followed, log_conditions
from collector.horizon import Horizon
from collector.intake.admit import Admission, Admitted
from collector.intake.clock_watch import ClockWatch
from collector.intake.flood import Flood
from collector.intake.line_watch import LineWatch
from collector.intake.subscriber import BATCH, CONNECTED, Message, Subscriber
from collector.notify.signal import ward_signal
from collector.notify.teller import Teller, lost_payload
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow, entry_of
from collector.rules.events import Event
from collector.site import Site
from collector.siteedit.desk import SiteDesk
from collector.siteedit.keeper import SiteKeeper
from collector.store import Store, StoreError
from collector.tongue import speaking
from collector.topics import bridge_state_topic, gauge_topic, heartbeat_topic, link_topic, readings_topic, session_of
from collector.upkeep import Upkeep
from collector.watchdog import Watchdog

STATUS_S: Final = 1.0  # of wall time between writings of the collector's status
STORE_RETRY_S: Final = (1.0, 15.0)  # of wall time: first and longest pause before a store that failed is tried again

_time_ms = attrgetter("time_ms")


class Collector:
    """One facility's collector; turn() does one round and never waits longer than it is told to."""

    def __init__(
        self, site: Site, store: Store, door: Door, clock: Clock, *, wall_s: Callable[[], float] = time.time,
        monotonic_s: Callable[[], float] = time.monotonic, site_text: str = "", site_path: str = "",
    ) -> None:  # fmt: skip
        self.site, self.store, self.clock = site, store, clock
        self._wall_s, self._monotonic_s = wall_s, monotonic_s
        facility = site.facility.id
        self.line = Subscriber(
            door, session_of(facility),
            [topic(facility, "+") for topic in (readings_topic, link_topic, bridge_state_topic, gauge_topic)],
            will=(heartbeat_topic(facility), lost_payload()), monotonic_s=monotonic_s,
        )  # fmt: skip
        self.flood = Flood(Admission(site, clock.speed), clock.speed, monotonic_s)
        self.teller = Teller(facility, [ward.id for ward in site.places()], self.line, self._signal)
        self.counts = {"readings": 0, "messages": 0, "quarantined": 0, "duplicates": 0, "late": 0, "flooded": 0}
        self.store_said = self._store_kind = ""  # what is wrong with the store, "" while it is good
        self._upkeep = Upkeep(store, clock)
        self._clock_watch = ClockWatch(wall_s, monotonic_s)
        self._status_s, self._started_ms = float("-inf"), clock.now_ms()
        self._line_watch = LineWatch(self.line, self._started_ms, monotonic_s, wall_s)
        self._rate, self._batch_size = (monotonic_s(), 0), 0
        self._store_retry_s, self._store_pause_s = 0.0, STORE_RETRY_S[0]
        self.followed = Followed(site, store)
        self.horizon = Horizon(clock.speed, blind=self._was_off())
        self._site_desk = SiteDesk(SiteKeeper(site_path, site_text), self.followed, store)
        self._open({"path": site_path, "text": site_text} if site_text else None)

    def _open(self, site: dict[str, Any] | None) -> None:
        start = JournalEntry(at_ms=self.clock.now_ms(), kind=entries.COLLECTOR_START, origin="collector",
                             body={"pid": os.getpid(), "units": len(self.site.units)})  # fmt: skip
        with self.store.transaction():
            self.store.set_status("clock", self.clock.setting())
            if site is not None:
                self.store.set_status("site", site)
            self._write_journal([start, *self.followed.orphans(start.at_ms)])

    def _was_off(self) -> bool:
        """Whether this machine, and with it most likely the broker, was started after the last reading was taken."""
        newest_ms, started_ms = self.followed.engine.newest_ms(), self.clock.now_ms() - since_start_ms()
        return newest_ms is not None and newest_ms < started_ms

    def _write_journal(self, news: list[JournalEntry]) -> list[JournalRow]:
        return self.followed.write(news, int(self._wall_s() * 1000))

    def _signal(self, ward: str) -> dict[str, Any]:
        site, followed, now_ms = self.site, self.followed, self.clock.now_ms()
        with speaking(site.facility.language):
            cards, test = followed.backup.cards(ward, followed.board, now_ms), followed.tests.signal(ward, now_ms)
            rows = followed.ward_rows(ward)
            return ward_signal(site, site.ward(ward), followed.board, rows, now_ms, followed.seq, cards, test)

    # -- a turn ----------------------------------------------------------------------------------------------------

    def run(self, stop: threading.Event) -> None:
        """Turn until `stop` is set. StoreError when the store can never work again (another facility's, corrupt)."""
        watchdog = Watchdog()
        watchdog.ready()
        while not stop.is_set():
            self.turn(0.5)
            watchdog.beat()
        watchdog.stopping()

    def turn(self, timeout_s: float = 0.0) -> int:
        """Read a batch, judge it, store it, acknowledge it, tell the wards; returns how many messages there were."""
        if self._store_waits(timeout_s):
            return 0
        try:
            if not self.followed.sound:
                self._recover()
            batch = self._poll(timeout_s)
            self._commit(batch)
            if self.followed.wanted.waiting:
                self._take_up_site()
        except StoreError as error:
            self._store_failed(error)
            return 0
        self.line.acknowledge(batch)
        self._tell()
        if len(batch) < BATCH:
            self._care()
        return len(batch)

    def _poll(self, timeout_s: float) -> list[Message]:
        batch = self.line.poll(timeout_s)
        self._line_watch.look(self.clock.now_ms())
        return batch

    def _commit(self, batch: list[Message]) -> None:
        now_ms = self.clock.now_ms()
        admitted = self._admit(batch, now_ms)
        followed = self.followed
        followed.sound = False
        late_before = followed.engine.late
        events = self._judge(admitted, now_ms)
        news = [*map(entry_of, events), *followed.engine.take_notes(), *followed.board.expire(now_ms),
                *self.flood.notes(now_ms), *self._clock_watch.notes(now_ms), *followed.dues.news(now_ms),
                *self._judge_backup(admitted, now_ms),
                *bridge_words.entries_of(admitted.words, self.store, now_ms)]  # fmt: skip
        due = self._monotonic_s() - self._status_s >= STATUS_S
        if batch or news or due or followed.engine.touched or followed.behind():
            with self.store.transaction():
                new = self.store.add_readings(admitted.readings)
                followed.save_units()
                self.store.quarantine(admitted.quarantined, admitted.unkept)
                rows = self._write_journal(news)
                bridge_words.save(admitted, self.store, now_ms)
                if due:
                    self._write_status(now_ms)
            self._count(batch, admitted, new, followed.engine.late - late_before)
            followed.engine.clear_touched()
            log_conditions(rows)
        followed.sound = True

    def _take_up_site(self) -> None:
        """Make what people asked of the site file; what is known of the units goes on."""
        if (site := self._site_desk.take_up(self.clock.now_ms(), int(self._wall_s() * 1000))) is not None:
            self.site = site
            self.flood.follow(Admission(site, self.clock.speed))
            self.teller.follow(ward.id for ward in site.places())

    def _judge_backup(self, admitted: Admitted, now_ms: int) -> list[JournalEntry]:
        """Nothing can be said of flows in use while no broker is there, or a backlog is being read."""
        read = self.followed.backup.gauges(admitted.gauges)
        known = self.line.subscribed and self.horizon.caught_up
        return [*read, *self.followed.judge_backup(now_ms)] if known else read

    def _admit(self, batch: list[Message], now_ms: int) -> Admitted:
        admitted = self.flood.admit(batch, now_ms)
        # A pack's moments may stand in any order; the rules ignore what is older than they have seen of a unit.
        admitted.readings.sort(key=_time_ms)
        return admitted

    def _count(self, batch: list[Message], admitted: Admitted, new: int, late: int) -> None:
        counts = self.counts
        counts["messages"] += len(batch)
        counts["quarantined"] += len(admitted.quarantined) + admitted.unkept.total()
        counts["flooded"] += admitted.flooded
        counts["readings"] += new
        counts["duplicates"] += len(admitted.readings) - new
        counts["late"] += late
        self._batch_size = max(self._batch_size, len(batch))

    def _judge(self, admitted: Admitted, now_ms: int) -> list[Event]:
        events: list[Event] = []
        engine = self.followed.engine
        if self.horizon.meets(self.line.connections, self._monotonic_s()):
            engine.note_blind(now_ms)
        read = engine.read
        for reading in admitted.readings:
            if found := read(reading, now_ms):
                events += found
        for unit, ahead_s in admitted.ahead:
            events += engine.note_clock(unit, ahead_s, now_ms)
        admitted.links = [link for link in admitted.links if engine.note_link(*link, now_ms)]
        until_ms = self._known_until(admitted, now_ms)
        if until_ms is not None:
            events += engine.tick(until_ms)
        return events

    def _known_until(self, admitted: Admitted, now_ms: int) -> int | None:
        if not self.line.subscribed:
            self.horizon.lost()
            return None
        readings = admitted.readings
        middle_ms = readings[len(readings) // 2].time_ms if readings else None
        return self.horizon.known_until(self.line.connections, self._monotonic_s(), now_ms, middle_ms)

    # -- what else a turn does -------------------------------------------------------------------------------------

    def _write_status(self, now_ms: int) -> None:
        self._status_s = self._monotonic_s()
        self.store.set_status("collector", self.status(now_ms))

    def status(self, now_ms: int) -> dict[str, Any]:
        """How the collector is; at_ms is its heartbeat, batch the largest batch so far."""
        since_s, before = self._rate
        now_s = self._monotonic_s()
        rate = (self.counts["messages"] - before) / (now_s - since_s) if now_s > since_s else 0.0
        self._rate = (now_s, self.counts["messages"])
        return {
            "at_ms": now_ms, "wall_ms": int(self._wall_s() * 1000), "pid": os.getpid(), "started_ms": self._started_ms,
            "broker": self.line.door.where, "broker_state": self.line.state,
            "broker_said": self.line.said, "broker_ms": self._line_watch.since_ms, "caught_up": self.horizon.caught_up,
            "rate_per_s": round(rate, 1),
            "store_state": self._store_kind or "good", "store_said": self.store_said, "batch": self._batch_size,
            "told_ms": dict(self.teller.told_ms), "flooding": self.flood.status(),
            "troubles": [*self._line_watch.said, *self._clock_watch.said, *self._upkeep.said], **self.counts,
        }  # fmt: skip

    def _tell(self) -> None:
        if self.line.state != CONNECTED:
            return
        now_ms = self.clock.now_ms()
        self.followed.changed_wards |= self.followed.tests.over(now_ms)
        self.teller.tell(self.followed.changed_wards, now_ms)
        self.followed.changed_wards.clear()
        news = {"readings": self.counts["readings"], "quarantined": self.counts["quarantined"]}
        self.teller.beat(self._monotonic_s(), now_ms, {**news, "store": self.store_said or "good"})

    def _care(self) -> None:
        try:
            self._upkeep.slice()
        except StoreError as error:
            self._store_failed(error)

    def _store_waits(self, timeout_s: float) -> bool:
        wait_s = self._store_retry_s - self._monotonic_s()
        if wait_s <= 0:
            return False
        time.sleep(min(wait_s, timeout_s))
        return True

    def _store_failed(self, error: StoreError) -> None:
        """Nothing of this turn counts; what was read comes again once the store can be written."""
        log.say("store-failed", level=logging.ERROR, kind=error.kind, said=str(error))
        self.followed.sound = False
        self._store_kind, self.store_said = error.kind, str(error)
        if self.line.state == CONNECTED:
            self.teller.halt(self.clock.now_ms(), self.store_said)
            self.line.drop()
        if error.fatal:
            raise error
        self._store_retry_s = self._monotonic_s() + self._store_pause_s
        self._store_pause_s = min(self._store_pause_s * 2, STORE_RETRY_S[1])

    def _recover(self) -> None:
        """Go back to what is stored, and show that the store can be written before the broker is asked for more."""
        self.followed.load()
        self._store_kind = self.store_said = ""
        with self.store.transaction():
            self._write_status(self.clock.now_ms())
        self._store_pause_s = STORE_RETRY_S[0]
        log.say("store-good")

    def close(self) -> None:
        """Write the end down and say goodbye to the broker; what was not acknowledged stays there."""
        self._upkeep.close()
        stop = JournalEntry(at_ms=self.clock.now_ms(), kind=entries.COLLECTOR_STOP, origin="collector", body={})
        try:
            if not self.followed.sound:
                self.followed.load()
            with self.store.transaction():
                self._write_journal([stop])
        except StoreError as error:
            log.say("store-failed", level=logging.ERROR, kind=error.kind, said=str(error))
        if self.line.state == CONNECTED:
            self.teller.goodbye(self.clock.now_ms())
        self.line.close()
