"""A bridge at work: what its source reads goes into the spool, and from there to the broker, in one thread.

Rules of this file: nothing waits but the one `select`, on the serial lines, the broker's socket and the next thing due.
Readings that came within FLUSH_S are written to disk together, so that a card is not worn by a write for each of them;
until then they count as not yet taken in.
"""

from __future__ import annotations

import logging
import select
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Final

import msgspec

from collector.bridge.bridge_file import BridgeFile
from collector.bridge.forward import Forwarder
from collector.bridge.source import PortState, Source
from collector.bridge.spool import NAME, Spool
from collector.bridge.timekeeper import Timekeeper, boot_id
from collector.bridge.word import VERSION, PortWord, Word, clipped
from collector.door import Door
from collector.log import say
from collector.reading import Reading, iso_utc
from collector.watchdog import Watchdog

FLUSH_S: Final = 0.5
FLUSH_AT: Final = 500  # readings
LONGEST_S: Final = 1.0
WORD_S: Final = (2.0, 30.0)  # between words: of something new, and of nothing but how many wait


def open_bridge(file: BridgeFile, source: Source, door: Door) -> Bridge:
    """The bridge of a bridge file, with its spool opened; it connects when it is run."""
    spool = Spool(file.spool / NAME, int(file.spool_mb * 1_000_000), boot=boot_id())
    forwarder = Forwarder(door, file.facility, file.bridge, spool)
    return Bridge(source, forwarder, Timekeeper(trusted=True if file.clock == "own" else None))


class Bridge:
    """Joins a source, a forwarder with its spool, and the clock; `turn` never waits, `wait` waits for something."""

    def __init__(
        self, source: Source, forwarder: Forwarder, timekeeper: Timekeeper, *, watchdog: Watchdog | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self.source, self.forwarder, self.spool, self.timekeeper = source, forwarder, forwarder.spool, timekeeper
        self._watchdog, self._monotonic_s = watchdog or Watchdog(), monotonic_s
        self._read: list[Reading] = []
        self._read_s = 0.0  # when the first of them came
        self._dated_s = float("-inf")
        self._word, self._word_s, self._word_connection = b"", float("-inf"), 0
        self._state: tuple[object, ...] = ()

    def run(self, stop: threading.Event) -> None:
        """Turn until `stop` is set; then write down what was read, and say goodbye to the broker."""
        self._watchdog.ready()
        try:
            while not stop.is_set():
                self.turn()
                self.wait()
        finally:
            self._watchdog.stopping()
            self.close()

    def turn(self) -> None:
        """Read what is there, keep it, send what may go, say how it is."""
        self._watchdog.beat()
        self._look_at_clock()
        read = self.source.turn(self.timekeeper.now_ms())
        now_s = self._monotonic_s()
        if read and not self._read:
            self._read_s = now_s
        self._read += read
        if self._read and (now_s - self._read_s >= FLUSH_S or len(self._read) >= FLUSH_AT):
            self._flush()
        self.forwarder.turn()
        if self.forwarder.line.connected:
            self._tell(now_s)

    def wait(self) -> None:
        """Until a line or the broker has something, or something is due; LONGEST_S at the most."""
        until_s = min(self.source.wait_s(), LONGEST_S)
        if self._read:
            until_s = min(until_s, max(0.0, self._read_s + FLUSH_S - self._monotonic_s()))
        sock = self.forwarder.socket
        if sock is None:
            until_s = min(until_s, 0.1)  # a connect may be under way in its thread
        with suppress(OSError, ValueError):  # a line that was pulled out meanwhile: the next turn will see to it
            number = [sock.fileno()] if sock else []
            writers = number if self.forwarder.wants_write else []
            select.select([*self.source.filenos(), *number], writers, [], until_s)

    def close(self) -> None:
        """Keep what was read, say goodbye, let go of lines and disk."""
        self._flush()
        self.source.close()
        self.forwarder.close()
        self.spool.close()

    # -- parts -----------------------------------------------------------------------------------------------------

    def _flush(self) -> None:
        read, self._read = self._read, []
        self.forwarder.offer(read)

    def _look_at_clock(self) -> None:
        was_known = self.timekeeper.known
        jumped_ms = self.timekeeper.turn()
        if was_known and jumped_ms is not None:
            say("bridge-clock", level=logging.WARNING, said=self.timekeeper.said, jumped_s=round(jumped_ms / 1000, 1))
        now_s = self._monotonic_s()
        if not self.timekeeper.known or (was_known and now_s - self._dated_s < LONGEST_S):
            return
        self._dated_s = now_s
        if not was_known:
            self._flush()
        if self.spool.undated and (dated := self.spool.date(self.timekeeper.offset_ms)):
            say("bridge-clock", said="the clock is known now", dated=dated)

    def _tell(self, now_s: float) -> None:
        """Publish the bridge's word: at a connect, when something is new, and now and then how many wait."""
        fresh = self._word_connection != self.forwarder.line.connections
        if not fresh and now_s - self._word_s < WORD_S[0]:
            return
        ports, spool = self.source.state(), self.spool
        # How many wait goes up and down with every reading: that alone is no news while they go out at once.
        state = (spool.dropped, spool.said, spool.aside, self.timekeeper.said, self.forwarder.draining,
                 [(port.open, port.said, port.silent) for port in ports])  # fmt: skip
        if not fresh and state == self._state and now_s - self._word_s < WORD_S[1]:
            return
        self._state, self._word_s, self._word_connection = state, now_s, self.forwarder.line.connections
        word = msgspec.json.encode(self.word(ports))
        if fresh or word != self._word:
            self._word = word
            self.forwarder.tell(word)

    def word(self, ports: list[PortState]) -> Word:
        """How the bridge is."""
        spool, oldest_ms = self.spool, self.spool.oldest_ms
        return Word(
            v=VERSION, waiting=spool.waiting, dropped=spool.dropped, undated=spool.undated,
            oldest=iso_utc(oldest_ms) if oldest_ms is not None else None,
            said=clipped(spool.said or spool.aside), clock=clipped(self.timekeeper.said),
            ports=tuple(PortWord(path=clipped(port.path), open=port.open, said=clipped(port.said),
                                 silent=port.silent[:64], notes=port.corrections) for port in ports[:64]),
        )  # fmt: skip
