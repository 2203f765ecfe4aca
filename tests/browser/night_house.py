"""The demo's hospital with everything at work, whose night goes on only when a test says so, and as far as it says.

Real broker, bridges, collector and dashboard; the physics of the demo's story, from its seed. Facility time stands
still while somebody acts on a screen, however long that takes.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from collector.broker import start_nats
from collector.cli.simulate import make_fleet
from collector.clock import ManualClock
from collector.door import Door
from collector.past import take_in
from collector.rules import entries
from collector.rules.entries import JournalRow
from collector.store import JournalWriter, open_store
from collector.store.history import journal_rows, open_reader
from simulator import HOSPITAL
from simulator.history import backfill
from simulator.publish import Publisher
from simulator.service_past import service_past
from tests.browser.hands import IN_CI
from tests.browser.test_first_use import connected
from tests.dashboard.test_browser import serving
from tests.waiting import wait_for

NIGHT_MS = round(datetime(2026, 10, 13, 20, 0, tzinfo=UTC).timestamp() * 1000)  # a Tuesday evening
MINUTE, SEED, PAST_DAYS = 60_000, 1, 0.25
SLOW_S = 60.0 * (2 if IN_CI else 1)


class House:
    """A hospital at its evening; `go_on` lets time pass, `rows` is what the journal holds of the night."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.data, self.site_file, self.minute = folder / "data", folder / "site.toml", 0
        shutil.copy(HOSPITAL, self.site_file)
        self._fleet = make_fleet(self.site_file, "night", SEED, NIGHT_MS, PAST_DAYS)
        self._give_a_past()
        broker = stack.enter_context(start_nats(folder / "broker"))
        self._child = stack.enter_context(self._collecting(f"{broker.host}:{broker.port}", folder / "collector"))
        wait_for(lambda: connected(self.data), SLOW_S, "the collector")
        self._clock = ManualClock(NIGHT_MS)
        self._bridges = Publisher(self._fleet, Door(broker.host, broker.port), self._clock, since_ms=NIGHT_MS)
        self._sent_ms = 0
        stack.enter_context(self._sending())
        self.url, _ = stack.enter_context(serving(self.data, folder / "dashboard"))

    def _give_a_past(self) -> None:
        site = self._fleet.site
        with open_store(self.data, site.facility.id, durable=False) as store:
            JournalWriter(self.data).append(service_past(site, NIGHT_MS, SEED, self._fleet.start_ms))
            take_in(site, store, backfill(self._fleet, self._fleet.start_ms, NIGHT_MS), time.time_ns() // 1_000_000)

    @contextmanager
    def _collecting(self, broker: str, log: Path) -> Iterator[subprocess.Popen[str]]:
        argv = ["-m", "tests.browser.night_child", str(self.site_file), broker, str(self.data), str(NIGHT_MS)]
        with log.open("w") as out:
            child = subprocess.Popen(
                [sys.executable, *argv], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=out, text=True
            )
            try:
                yield child
            finally:
                child.terminate()
                child.communicate(timeout=60)

    @contextmanager
    def _sending(self) -> Iterator[None]:
        """The bridges' lines are looked after all the time, or a broker would give them up."""
        stop, pause = threading.Event(), threading.Event()

        def send() -> None:
            while not stop.is_set():
                at_ms = self._clock.now_ms()
                self._bridges.turn()
                self._sent_ms = at_ms
                pause.wait(0.002)

        thread = threading.Thread(target=send)
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()
            for line in self._bridges.lines:
                line.close()

    def go_on(self, minutes: int = 1) -> None:
        """Let so many minutes pass: the readings of each first, then its end; returns once all of it is judged."""
        for _ in range(minutes):
            self.minute += 1
            at_ms = self._clock.advance(MINUTE)
            wait_for(lambda at_ms=at_ms: self._sent_ms >= at_ms and self._all_sent(), SLOW_S, "the bridges' readings")
            assert self._child.stdin is not None
            assert self._child.stdout is not None
            self._child.stdin.write(f"{self._bridges.published.readings} {at_ms}\n")
            self._child.stdin.flush()
            assert self._child.stdout.readline() == f"at {at_ms}\n"

    def _all_sent(self) -> bool:
        return all(line.silent or line.idle for line in self._bridges.lines)

    def go_on_until(self, said: Callable[[], object], what: str, last_minute: int) -> None:
        """Let time pass until something is true, to a minute of the night at most."""
        while not said():
            assert self.minute < last_minute, f"not by minute {last_minute}: {what}"
            self.go_on()

    def rows(self, kind: str = "", unit: str = "") -> list[JournalRow]:
        """The night's rows, oldest first."""
        conn = open_reader(self.data)
        try:
            found = journal_rows(conn, unit or None, NIGHT_MS, limit=5_000)
        finally:
            conn.close()
        return sorted((row for row in found if kind in ("", row.kind)), key=lambda row: row.seq)

    def told(self, condition: str, event: str = "raised", unit: str = "", ward: str = "") -> list[JournalRow]:
        """What the rules said of a unit or ward tonight."""
        return [
            row for row in self.rows(entries.CONDITION, unit)
            if (row.condition, row.body["event"]) == (condition, event) and ward in ("", row.ward)
        ]  # fmt: skip


@contextmanager
def at_evening(folder: Path) -> Iterator[House]:
    """The house, everything in it at work; all of it ends with the block."""
    with ExitStack() as stack:
        yield House(folder, stack)
