"""Plays a fleet to a broker, each reading at its time by the clock, through one real MQTT client a bridge."""

from __future__ import annotations

import select
import threading
from collections.abc import Mapping
from typing import Final, NamedTuple

from collector.clock import Clock
from collector.door import Door
from collector.site import SIMULATED_PREFIX
from simulator.bridge_line import BridgeLine
from simulator.fleet import Fleet

_BURST: Final = 2_000  # readings a turn when there is a past to catch up with
_WAIT_S: Final = (0.01, 0.1)  # of wall time: shortest and longest wait of a turn


class PublishError(Exception):
    """What a simulator must not do; the text says why and the way out."""


class Published(NamedTuple):
    """What was sent: readings, packs, and readings dropped because they had waited too long."""

    readings: int
    packs: int
    dropped: int


def publish(
    fleet: Fleet, door: Door | Mapping[str, Door], clock: Clock, stop: threading.Event, *, since_ms: int | None = None
) -> Published:
    """Publish from `since_ms` (now, when None) until `stop` is set; what is past already is sent at once.

    `door` is everybody's, or a bridge's each, by its id. A broker that is away is waited for. PublishError for a
    facility that is not a simulator's, or a bridge without a door.
    """
    return Publisher(fleet, door, clock, since_ms=since_ms).run(stop)


class Publisher:
    """A fleet, its bridges' lines, and the clock they go by."""

    def __init__(
        self, fleet: Fleet, door: Door | Mapping[str, Door], clock: Clock, *, since_ms: int | None = None
    ) -> None:
        if not fleet.facility.startswith(SIMULATED_PREFIX):
            raise PublishError(
                f"the facility '{fleet.facility}' is not a simulator's: its readings would pass for real ones. "
                f"Rename it in the site file so that its id begins with '{SIMULATED_PREFIX}'"
            )
        self.fleet, self.clock = fleet, clock
        self.lines = [BridgeLine(_door_of(name, door), fleet.facility, name) for name in fleet.bridges]
        self._line_of = {unit: line for line in self.lines for unit in fleet.bridges[line.bridge]}
        start_ms = max(clock.now_ms(), fleet.start_ms) if since_ms is None else since_ms
        self._coming = fleet.timed(start_ms)
        self._next = next(self._coming, None)

    def run(self, stop: threading.Event) -> Published:
        """Play until `stop` is set, then say goodbye for each bridge."""
        try:
            while not stop.is_set():
                self.turn()
                self._wait(stop)
        finally:
            for line in self.lines:
                line.close()
        return self.published

    @property
    def published(self) -> Published:
        """What has been sent so far."""
        lines = self.lines
        return Published(sum(x.sent for x in lines), sum(x.packs for x in lines), sum(x.dropped for x in lines))

    def turn(self) -> None:
        """Hand each bridge what has become due, and move its line along."""
        now_ms = self.clock.now_ms()
        for _ in range(_BURST):
            if self._next is None or self._next[0] > now_ms:
                break
            self._line_of[self._next[1].unit].offer(self._next[1])
            self._next = next(self._coming, None)
        for line in self.lines:
            line.fall_silent(self.fleet.silent(line.bridge, now_ms))
            line.turn()

    def _wait(self, stop: threading.Event) -> None:
        """Until the next reading is due, or a broker has something to say."""
        shortest, longest = _WAIT_S
        wait_s = longest
        if self._next is not None:
            wait_s = (self._next[0] - self.clock.now_ms()) / 1000 / max(self.clock.speed, 1e-6)
        wait_s = min(max(wait_s, 0.0 if self._behind() else shortest), longest)
        sockets = [(one.line, sock) for one in self.lines if (sock := one.line.socket) is not None]
        if not sockets:
            stop.wait(wait_s)
            return
        select.select([sock for _, sock in sockets], [sock for line, sock in sockets if line.wants_write], [], wait_s)

    def _behind(self) -> bool:
        """Whether more is due than one turn hands over."""
        return self._next is not None and self._next[0] + 1000 * self.clock.speed < self.clock.now_ms()


def _door_of(bridge: str, door: Door | Mapping[str, Door]) -> Door:
    if isinstance(door, Door):
        return door
    if bridge not in door:
        known = ", ".join(door) or "none"
        raise PublishError(f"the simulated bridge '{bridge}' has no account; there are {known}")
    return door[bridge]
