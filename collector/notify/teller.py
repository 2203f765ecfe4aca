"""Publishes wards' signals and the collector's heartbeat, and knows what the broker has."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final, Protocol

import msgspec

from collector.notify.signal import told
from collector.reading import iso_utc
from collector.topics import heartbeat_topic, signal_topic

HEARTBEAT_S: Final = 5.0  # of wall time


class Line(Protocol):
    """What the teller needs of a subscriber."""

    connections: int

    def publish(self, topic: str, payload: bytes, *, retain: bool = True) -> int: ...

    def take_published(self) -> list[int]: ...


def lost_payload() -> bytes:
    """The heartbeat's last will: what the broker says for a collector that is gone."""
    return msgspec.json.encode({"v": 1, "state": "lost"})


class Teller:
    """Tells each ward what has changed; after every connect it tells every ward everything again.

    `told_ms` says per ward when the broker confirmed the latest signal.
    """

    def __init__(self, facility: str, wards: Iterable[str], line: Line, make: Callable[[str], dict[str, Any]]) -> None:
        self._facility, self._line, self._make = facility, line, make
        self._wards = list(wards)
        self._last: dict[str, bytes] = {}
        self._waiting: dict[int, str] = {}
        self._connection = self._beaten_connection = 0
        self._heartbeat_s = float("-inf")
        self.told_ms: dict[str, int] = {}

    def follow(self, wards: Iterable[str]) -> None:
        """Go on with other wards."""
        self._wards = list(wards)

    def tell(self, changed: Iterable[str], now_ms: int) -> int:
        """Publish the signals of wards that changed; returns how many were sent."""
        for mid in self._line.take_published():
            if (ward := self._waiting.pop(mid, None)) is not None:
                self.told_ms[ward] = now_ms
        wards: Iterable[str] = changed
        if self._connection != self._line.connections:
            self._connection = self._line.connections
            self._last.clear()
            self._waiting.clear()
            wards = self._wards
        return sum(self._tell(ward) for ward in wards)

    def _tell(self, ward: str) -> bool:
        signal = self._make(ward)
        now_told = told(signal)
        if self._last.get(ward) == now_told:
            return False
        self._last[ward] = now_told
        mid = self._line.publish(signal_topic(self._facility, ward), msgspec.json.encode(signal))
        self._waiting[mid] = ward
        return True

    def beat(self, now_s: float, now_ms: int, news: dict[str, Any]) -> None:
        """Publish the heartbeat when it is due; now_s is monotonic wall time."""
        if now_s - self._heartbeat_s >= HEARTBEAT_S or self._beaten_connection != self._line.connections:
            self._heartbeat_s, self._beaten_connection = now_s, self._line.connections
            self._send_heartbeat(now_ms, "live", news)

    def halt(self, now_ms: int, said: str) -> None:
        """The last heartbeat before the collector breaks the connection because it cannot store."""
        self._send_heartbeat(now_ms, "halted", {"store": said})

    def goodbye(self, now_ms: int) -> None:
        """The last heartbeat of a collector that stops on purpose."""
        self._send_heartbeat(now_ms, "stopped", {})

    def _send_heartbeat(self, now_ms: int, state: str, news: dict[str, Any]) -> None:
        beat = {"v": 1, "facility": self._facility, "state": state, "at": iso_utc(now_ms), **news}
        self._line.publish(heartbeat_topic(self._facility), msgspec.json.encode(beat))
