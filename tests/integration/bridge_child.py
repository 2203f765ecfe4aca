"""A bridge as a child process of a test: FACILITY HOST:PORT SPOOL FIRST_MS FROM UNTIL; says what it has kept.

Moment i of every unit is at FIRST_MS + 10 s * i. `kept N` on stdout: moments up to N are in the spool; `idle`: the
broker has everything.
"""

import sys
import threading
import time
from pathlib import Path

from collector.bridge.forward import Forwarder
from collector.bridge.run import Bridge
from collector.bridge.spool import Spool
from collector.bridge.timekeeper import Timekeeper
from collector.door import Door
from collector.reading import Reading

UNITS, STEP_MS = 24, 10_000
PER_S = 60.0  # moments, each of every unit


def say(text):
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


class Units:
    """A source that gives moments one after the other, as fast as PER_S."""

    def __init__(self, first_ms, start, until):
        self._first_ms, self.next, self._until = first_ms, start, until
        self._due_s = time.monotonic()

    def turn(self, _now_ms):
        found = []
        while self.next < self._until and time.monotonic() >= self._due_s:
            at_ms = self._first_ms + self.next * STEP_MS
            found += [Reading(f"u{unit:02d}", at_ms, 93.4, 4.0, 341.5) for unit in range(UNITS)]
            self.next += 1
            self._due_s += 1 / PER_S
        return found

    def filenos(self):
        return []

    def wait_s(self):
        return 0.01

    def state(self):
        return []

    def close(self):
        pass


class Telling(Forwarder):
    """Says how many moments are on disk, once they are."""

    def offer(self, readings):
        super().offer(readings)
        if readings:
            say(f"kept {1 + max(r.time_ms - first for r in readings) // STEP_MS}")


if __name__ == "__main__":
    facility, address, path = sys.argv[1:4]
    first, start, until = map(int, sys.argv[4:7])
    host, port = address.split(":")
    spool = Spool(Path(path), 100_000_000)
    forwarder = Telling(Door(host, int(port)), facility, "b1", spool)
    units, stop = Units(first, start, until), threading.Event()
    bridge = Bridge(units, forwarder, Timekeeper(trusted=True))
    while True:
        bridge.turn()
        bridge.wait()
        if units.next >= until and forwarder.idle and not bridge._read:
            break
    bridge.close()
    say("idle")
