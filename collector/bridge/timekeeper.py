"""What time it is on a bridge, also on one without a clock that runs while it is off.

Rules of this file: a moment is guessed by nobody. A small board without a battery clock begins in 1970, in 2000, or
where it was switched off. Until its clock is known, a reading's time counts in ms from the machine's start (less than
EARLIEST_MS, as SenML tells relative times by their size, RFC 8428 section 4.5.3), and the reading waits in the spool.
Once the clock is known, what waits is dated exactly, since the time from the start runs evenly.

Such a reading is not sent as a relative SenML time, although the standard has it: a broker keeps packs for a collector
that is away, and "ten seconds ago" would be reckoned from when they are handed over. An old value would look new.

A clock counts as known when it shows a date after this program was written, and, on a board without a battery clock,
the kernel says that it has been set since the start (adjtimex, STA_UNSYNC), or it jumps while we run. A jump of a known
clock is followed and said: what came before keeps its times, what comes after has the new ones. A clock that falls
back to before that date is not followed: time goes on from where it was.
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from collector.reading import iso_utc

#: 2026-01-01: a reading of this program cannot be older.
WRITTEN_MS: Final = 1_767_225_600_000
JUMP_MS: Final = 2_000  # a clock that is set; one that is slewed moves half a millisecond in a second at the most
_SYNC_S: Final = 10.0
_TIME_ERROR: Final = 5  # adjtimex(2): the clock is not synchronised
_RTC: Final = Path("/sys/class/rtc/rtc0")
_BOARD: Final = Path("/proc/device-tree/model")  # small boards describe themselves there; PCs and servers do not
_BOOT: Final = Path("/proc/sys/kernel/random/boot_id")


def boot_id() -> str:
    """What names the machine's present start; "" where there is no such thing."""
    try:
        return _BOOT.read_text(encoding="ascii").strip()
    except OSError:
        return ""


def since_start_ms() -> int:
    """Milliseconds since the machine was started; no setting of the clock touches it."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000


def clock_runs_while_off() -> bool:
    """Whether this machine's clock goes on without power: anything but a small board, and a board with a clock chip."""
    return _RTC.exists() or not _BOARD.exists()


def kernel_says_set() -> bool:
    """Whether the clock has been set from a time server since the start."""
    try:
        asked = ctypes.create_string_buffer(1024)  # all zero: nothing is changed
        state = int(ctypes.CDLL(None).adjtimex(asked))
    except (OSError, AttributeError):
        return False
    return state not in (-1, _TIME_ERROR)


class Timekeeper:
    """`known`: whether the moment is known; `said`: what there is to say of the clock, "" for nothing.

    trusted: a plausible clock is believed from the start. is_set says whether it has been set since then.
    """

    def __init__(
        self, *, wall_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
        start_ms: Callable[[], int] = since_start_ms, trusted: bool | None = None,
        is_set: Callable[[], bool] = kernel_says_set,
    ) -> None:  # fmt: skip
        self._wall_ms, self._start_ms, self._is_set = wall_ms, start_ms, is_set
        self._trusted = clock_runs_while_off() if trusted is None else trusted
        self._offset_ms = wall_ms() - start_ms()  # wall clock less time since the start, when last looked at
        self._asked_ms: int | None = None
        self.known = False
        self.said = ""
        self.turn()

    @property
    def offset_ms(self) -> int:
        """The moment of the machine's start, once `known`."""
        return self._offset_ms

    def now_ms(self) -> int:
        """The moment now; while that is not known, the time since the machine's start."""
        return self._start_ms() + (self._offset_ms if self.known else 0)

    def turn(self) -> int | None:
        """Look at the clock; returns by how much it has jumped in ms, None when it has not."""
        start_ms, wall_ms = self._start_ms(), self._wall_ms()
        jumped_ms = wall_ms - start_ms - self._offset_ms
        if wall_ms < WRITTEN_MS:
            self.said = f"the clock shows {iso_utc(max(0, wall_ms))}: set it, or give the bridge a time server"
            return None
        jump = abs(jumped_ms) >= JUMP_MS
        if not self.known:
            self.known = self._trusted or jump or self._set_by_now(start_ms)
            self.said = "" if self.known else "the clock has not been set since the start: no time server answers"
        elif jump:
            self.said = f"the clock was set by {jumped_ms / 1000:+.1f} s at {iso_utc(wall_ms)}"
        self._offset_ms += jumped_ms
        return jumped_ms if jump else None

    def _set_by_now(self, start_ms: int) -> bool:
        if self._asked_ms is not None and start_ms - self._asked_ms < _SYNC_S * 1000:
            return False
        self._asked_ms = start_ms
        return self._is_set()
