"""One serial port: opened, read, asked, and opened again after it was gone; it never waits.

What pyserial does when an adapter is pulled out differs by moment: SerialException, a bare OSError, or termios.error.
A far end that only falls silent is told by nothing, so every unit has a deadline of its own.
"""

from __future__ import annotations

import errno
import os
import termios
from collections.abc import Callable
from typing import Final, Protocol

import serial

from collector import log
from collector.bridge.bridge_file import PortTable
from collector.bridge.source import PortState
from collector.bridge.talk import Heard, Talk
from collector.reading import Reading

#: At most so much is read of one port in a turn, so that no port holds up the others.
READ_BYTES: Final = 4096
FIRST_RETRY_S, LONGEST_RETRY_S = 0.5, 5.0  # trying a path that is not there costs next to nothing
_LOG_EVERY_S: Final = 60.0
_SETTLE_S: Final = 1.0
GONE: Final = (serial.SerialException, OSError, termios.error)
_WHY: Final = {
    errno.ENOENT: "no such device; is it plugged in, and is the path right?",
    errno.EACCES: "no right to open it; put the bridge's user into the group that owns it (often dialout)",
    errno.EAGAIN: "another program has it open; end that one",
    errno.EBUSY: "another program has it open; end that one",
}
_PARITY: Final = {"none": "N", "even": "E", "odd": "O"}


class Line(Protocol):
    """What is needed of an open serial line."""

    def read(self, size: int) -> bytes: ...
    def write(self, data: bytes) -> int | None: ...
    def fileno(self) -> int: ...
    def reset_input_buffer(self) -> None: ...
    def close(self) -> None: ...


def why(error: Exception) -> str:
    """Why a port cannot be had, and the way out."""
    return _WHY.get(getattr(error, "errno", None) or 0, str(error))


def open_line(table: PortTable) -> Line:
    """Open a port for one program alone, reading and writing without waiting; one of GONE when it cannot be.

    Ports behind a network are left out: pyserial's would hold up all others while it connects.
    """
    line: Line = serial.Serial(
        table.path, baudrate=table.baud, parity=_PARITY[table.parity], bytesize=table.data_bits,
        stopbits=table.stop_bits, timeout=0, write_timeout=0, exclusive=True,
    )  # fmt: skip
    return line


class Port:
    """A port at work. `tick` gives monotonic seconds; times of readings come with each turn."""

    def __init__(
        self,
        table: PortTable,
        talk: Talk,
        corrections: tuple[str, ...],
        tick: Callable[[], float],
        opener: Callable[[PortTable], Line] = open_line,
    ) -> None:
        self._table, self._talk, self._corrections, self._tick, self._open = table, talk, corrections, tick, opener
        self._line: Line | None = None
        self._retry_at = self._send_at = self._round_at = self._deadline = tick()
        self._retry_s, self._logged_at = FIRST_RETRY_S, float("-inf")
        self._asked, self._waiting = 0, False
        self._gap_s = 3.5 * 11 / table.baud + 0.00175  # silence between Modbus frames (serial line V1.02, 2.5.1.1)
        self._heard_at = dict.fromkeys(table.unit_ids, tick())
        self._looked_at = tick()
        self._said = ""
        self._heard_ms: int | None = None
        self._readings = self._refused = self._timeouts = 0

    def turn(self, now_ms: int) -> list[Reading]:
        """Do what is due now; the readings that came."""
        heard: list[Heard] = []  # kept when the line breaks behind it
        try:
            line = self._line or self._opened()
            if line is None:
                return []
            heard += self._talk.feed(line.read(READ_BYTES), now_ms)
            heard += self._ask(line, now_ms) if self._talk.asks else []
            self._check_still_there()
        except GONE as error:
            self._lost(error)
        return [told for one in heard if (told := self._counted(one, now_ms))]

    def fileno(self) -> int | None:
        """What to wait on, or None where there is nothing to wait on."""
        try:
            return None if self._line is None else self._line.fileno()
        except GONE:
            return None

    def wait_s(self) -> float:
        """How long nothing needs to be done here but to read."""
        if self._line is None:
            due = self._retry_at
        elif not self._talk.asks:
            return _SETTLE_S
        else:
            due = self._deadline if self._waiting else self._send_at
        return max(0.0, min(_SETTLE_S, due - self._tick()))

    def state(self) -> PortState:
        """How it stands."""
        now = self._tick()
        silent = tuple(unit for unit, at in self._heard_at.items() if now - at > self._table.stale_s)
        return PortState(
            path=self._table.path, profile=self._table.profile, open=self._line is not None, stale=bool(silent),
            said=self._said, heard_ms=self._heard_ms, readings=self._readings, refused=self._refused,
            timeouts=self._timeouts, dropped_bytes=self._talk.dropped_bytes, units=self._table.unit_ids,
            silent=silent, corrections=self._corrections,
        )  # fmt: skip

    def close(self) -> None:
        """Let go of the line."""
        line, self._line = self._line, None
        if line is not None:
            try:
                line.close()
            except GONE:  # what is gone is closed
                return

    def _opened(self) -> Line | None:
        if self._tick() < self._retry_at:
            return None
        self._line = line = self._open(self._table)
        self._waiting, self._asked = False, 0
        self._send_at, self._said = self._tick(), ""
        self._talk.begin()
        log.say("bridge-port", path=self._table.path, state="open", said="; ".join(self._corrections))
        return line

    def _lost(self, error: Exception) -> None:
        was_open = self._line is not None
        self.close()
        said = why(error)
        if was_open or said != self._said:
            log.say("bridge-port", path=self._table.path, state="gone", said=said)
        self._said = said
        self._retry_at = self._tick() + self._retry_s
        self._retry_s = min(2 * self._retry_s, LONGEST_RETRY_S)

    def _ask(self, line: Line, now_ms: int) -> list[Heard]:
        now = self._tick()
        heard: list[Heard] = []
        if self._waiting and self._talk.answered:
            self._done(now + self._gap_s)
        elif self._waiting and now >= self._deadline:
            self._timeouts += 1
            heard = self._talk.give_up(now_ms)
            self._done(now + self._talk.poll.timeout_s)  # an answer on its way may not be taken for the next one
        if not self._waiting and now >= self._send_at:
            self._round_at = now if self._asked == 0 else self._round_at
            line.reset_input_buffer()
            request = self._talk.ask(self._asked)
            sent = line.write(request)
            if sent is not None and sent < len(request):
                raise serial.SerialException(f"took {sent} of {len(request)} bytes of a request")
            self._waiting, self._deadline = True, now + self._talk.poll.timeout_s
        return heard

    def _done(self, free_at: float) -> None:
        self._waiting = False
        self._asked = (self._asked + 1) % self._talk.asks
        self._send_at = free_at if self._asked else max(free_at, self._round_at + self._talk.poll.every_s)

    def _counted(self, heard: Heard, now_ms: int) -> Reading | None:
        if heard.told is None:
            self._refused += 1
            self._said = heard.said
            if self._tick() - self._logged_at >= _LOG_EVERY_S:
                self._logged_at = self._tick()
                log.say("bridge-refused", path=self._table.path, said=heard.said, raw=repr(heard.raw[:120]))
            return None
        self._readings += 1
        self._retry_s = FIRST_RETRY_S  # only now: a line that opens and breaks at once is not tried all the time
        self._said, self._heard_ms = "", now_ms
        self._heard_at[heard.told.reading.unit] = self._tick()
        return heard.told.reading

    def _check_still_there(self) -> None:
        """An adapter that was pulled out and put in again may leave the old line open and silent: look at the path."""
        now, number = self._tick(), self.fileno()
        if now - self._looked_at < LONGEST_RETRY_S or number is None:
            return
        self._looked_at = now
        here, there = os.fstat(number), os.stat(self._table.path)
        if (here.st_dev, here.st_ino, here.st_rdev) != (there.st_dev, there.st_ino, there.st_rdev):
            raise OSError(errno.ENODEV, "another device is at this path now")
