"""The facility's clock in a process beside the collector: it runs as the collector last wrote that it runs."""

from __future__ import annotations

from typing import Any

from collector.clock import Clock, ScaledClock, WallClock


class FollowingClock:
    """The wall clock until `follow` has been told otherwise; safe to read from any thread."""

    def __init__(self) -> None:
        self._clock: Clock = WallClock()
        self.speed = self._clock.speed

    def follow(self, document: dict[str, Any] | None) -> None:
        """Take over what the status document `clock` says; without one, the wall clock stays."""
        if document is not None:
            self._clock = ScaledClock(int(document["wall_ms"]), int(document["at_ms"]), float(document["speed"]))
            self.speed = self._clock.speed

    def now_ms(self) -> int:
        """Facility time now, in ms since 1970 UTC."""
        return self._clock.now_ms()

    def setting(self) -> dict[str, float]:
        """As WallClock's."""
        return self._clock.setting()
