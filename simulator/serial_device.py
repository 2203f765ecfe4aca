"""One unit as a serial device: a real pseudo-terminal that writes text lines, for a bridge to read.

A pseudo-terminal has no bits and no pace of its own: open it with 8 data bits and no parity, at any speed.
"""

from __future__ import annotations

import os
import pty
import select
import threading
import tty
from collections.abc import Callable
from typing import Final

from collector.clock import Clock
from collector.reading import Reading, iso_utc
from simulator.fleet import Fleet
from simulator.sensors import DECIMALS

_WAIT_S: Final = 0.1
#: Names on the line, and the reading's field each stands for.
FIELDS: Final = {"purity": "purity_pct", "flow": "flow_lpm", "power": "power_w", "temp": "temp_c", "volts": "volts",
                 "pressure": "pressure_kpa", "hours": "hours_h"}  # fmt: skip


def delimited(reading: Reading) -> str:
    """`2026-11-25T20:00:00Z;93.4;4.90;345;...`: time and values in the order of FIELDS, empty where not measured."""
    return ";".join([iso_utc(reading.time_ms), *(_text(reading, field) for field in FIELDS.values())])


def key_value(reading: Reading) -> str:
    """`purity=93.4 flow=4.90 power=345 ...`: what is measured, by name; the reader puts its own time to it."""
    shown = {name: _text(reading, field) for name, field in FIELDS.items()}
    return " ".join(f"{name}={text}" for name, text in shown.items() if text)


LINE_FORMATS: Final[dict[str, Callable[[Reading], str]]] = {"delimited": delimited, "key-value": key_value}


def _text(reading: Reading, field: str) -> str:
    value = getattr(reading, field)
    return "" if value is None else f"{value:.{DECIMALS[field]}f}"


class SerialDevice:
    """Plays one unit of a fleet at its times by the clock; `lost` counts lines that nobody read in time."""

    def __init__(self, fleet: Fleet, unit: str, clock: Clock, line_format: str = "") -> None:
        form = line_format or fleet.scenario.scenario.line_format
        if form not in LINE_FORMATS:
            raise ValueError(f"no line format '{form}'; there are {', '.join(LINE_FORMATS)}")
        if unit not in fleet.units:
            raise ValueError(f"the fleet has no unit '{unit}'")
        self._fleet, self._unit, self._clock, self._write = fleet, unit, clock, LINE_FORMATS[form]
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._master = self._slave = -1
        self.written = self.lost = 0

    def start(self) -> str:
        """Open the pseudo-terminal, begin to play, and return the path to read from."""
        self._stop.clear()
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        path = os.ttyname(self._slave)
        self._thread = threading.Thread(target=self._play, name=f"serial {self._unit}", daemon=True)
        self._thread.start()
        return path

    def stop(self) -> None:
        """End, as an unplugged adapter does: readers get an error."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None
            os.close(self._slave)
            os.close(self._master)

    def _play(self) -> None:
        start_ms = max(self._clock.now_ms(), self._fleet.start_ms)
        for due_ms, reading in self._fleet.timed(start_ms):
            if reading.unit != self._unit:
                continue
            while (wait_ms := due_ms - self._clock.now_ms()) > 0 and not self._stop.is_set():
                self._stop.wait(min(wait_ms / 1000 / max(self._clock.speed, 1e-6), _WAIT_S))
            if self._stop.is_set():
                return
            self._put((self._write(reading) + "\r\n").encode("ascii"))

    def _put(self, line: bytes) -> None:
        """Write a whole line or none: a device does not wait for whoever should be reading."""
        _, writable, _ = select.select([], [self._master], [], 0)
        try:
            done = os.write(self._master, line) if writable else 0
            while 0 < done < len(line) and not self._stop.is_set():
                select.select([], [self._master], [], _WAIT_S)
                done += os.write(self._master, line[done:])
        except BlockingIOError:
            done = 0
        self.written, self.lost = self.written + (done == len(line)), self.lost + (done < len(line))
