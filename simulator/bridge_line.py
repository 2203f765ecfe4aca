"""One simulated bridge: the line that real bridges use, and a bounded store of what waits.

While there is no line readings wait, the newest WAITING_MAX of them, and go later as packs of many moments with the
times at which they were taken. A real bridge keeps them on disk (collector/bridge/spool.py); here memory will do.
"""

from __future__ import annotations

from collections import deque
from typing import Final

from collector.bridge.broker_line import BrokerLine
from collector.bridge.packs import MOMENTS_MAX, is_measured
from collector.door import Door
from collector.reading import Reading
from collector.senml import encode_pack
from collector.topics import readings_topic

WAITING_MAX: Final = 50_000  # readings: a few MB, and some hours of a bridge's units
WINDOW: Final = 200  # packs on their way without an acknowledgement


class BridgeLine:
    """A bridge and its connection; turn() moves it along, offer() gives it a reading to send."""

    def __init__(self, door: Door, facility: str, bridge: str) -> None:
        self.bridge, self.facility = bridge, facility
        self.silent = False
        self.sent = self.packs = self.dropped = 0
        self.line = BrokerLine(door, facility, bridge)
        self._waiting: deque[Reading] = deque()

    @property
    def connected(self) -> bool:
        """Whether the broker has taken the bridge in."""
        return self.line.connected

    @property
    def idle(self) -> bool:
        """Whether everything offered has reached the broker."""
        return not self._waiting and not self.line.unacknowledged

    def offer(self, reading: Reading) -> None:
        """Take a reading to send; the oldest one that waits is dropped, and counted, when there is no room."""
        if len(self._waiting) >= WAITING_MAX:
            self._waiting.popleft()
            self.dropped += 1
        self._waiting.append(reading)

    def turn(self) -> None:
        """Move the line along, and send what waits."""
        if self.silent:
            return
        self.line.turn()
        self.line.take_acked()
        if self.line.connected:
            self._send()

    def fall_silent(self, silent: bool) -> None:
        """Break the connection without a goodbye, so that the broker publishes the will; or allow it again."""
        if silent == self.silent:
            return
        self.silent = silent
        if silent:
            self.line.told_silent("as the scenario has it")
        self.line.cut()

    def close(self) -> None:
        """Say that the bridge goes offline, wait a little for the broker's word, and say goodbye."""
        self.silent = False
        self.line.close()

    def _send(self) -> None:
        """Publish what waits, one pack a unit, as long as the broker keeps up."""
        while self._waiting and len(self.line.unacknowledged) < WINDOW:
            packs: dict[str, list[Reading]] = {}
            while self._waiting and len(packs) <= WINDOW:
                reading = self._waiting[0]
                pack = packs.setdefault(reading.unit, [])
                if len(pack) >= MOMENTS_MAX:
                    break
                pack.append(self._waiting.popleft())
            for unit, readings in packs.items():
                self._publish(unit, [reading for reading in readings if is_measured(reading)])

    def _publish(self, unit: str, readings: list[Reading]) -> None:
        if not readings:
            return
        self.line.publish(readings_topic(self.facility, unit), encode_pack(self.facility, unit, readings))
        self.sent += len(readings)
        self.packs += 1
