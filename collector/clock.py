"""The clocks that edges read once a turn and hand to the rules as `now`."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Facility time in ms since 1970 UTC; `speed` is how many facility seconds pass in a wall second."""

    speed: float

    def now_ms(self) -> int: ...

    def setting(self) -> dict[str, float]: ...


class WallClock:
    """The machine's own UTC clock."""

    speed = 1.0

    def now_ms(self) -> int:
        """Milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000

    def setting(self) -> dict[str, float]:
        """From which wall time and facility time on it runs, and how fast: another process can show the same clock."""
        now_ms = self.now_ms()
        return {"wall_ms": now_ms, "at_ms": now_ms, "speed": self.speed}


class ScaledClock:
    """Facility time that stands at `at_ms` until the wall says `wall_ms`, and then runs `speed` times as fast."""

    def __init__(self, wall_ms: int, at_ms: int, speed: float) -> None:
        self.wall_ms, self.at_ms, self.speed = wall_ms, at_ms, speed

    def now_ms(self) -> int:
        """Facility time now, in ms since 1970 UTC."""
        passed_ms = max(0, time.time_ns() // 1_000_000 - self.wall_ms)
        return self.at_ms + int(passed_ms * self.speed)

    def setting(self) -> dict[str, float]:
        """As WallClock's."""
        return {"wall_ms": self.wall_ms, "at_ms": self.at_ms, "speed": self.speed}

    def wall_delay_s(self, until_ms: int) -> float:
        """Wall seconds until facility time reaches `until_ms`; never negative."""
        return max(0.0, (until_ms - self.now_ms()) / 1000 / self.speed)


class ManualClock:
    """A clock that a test moves by hand."""

    def __init__(self, now_ms: int, speed: float = 1.0) -> None:
        self._now_ms, self.speed = now_ms, speed

    def now_ms(self) -> int:
        """Where the clock was last put."""
        return self._now_ms

    def setting(self) -> dict[str, float]:
        """As WallClock's; a process that follows it shows it running on from here."""
        return {"wall_ms": time.time_ns() // 1_000_000, "at_ms": self._now_ms, "speed": self.speed}

    def advance(self, ms: int) -> int:
        """Move forward and return the new now."""
        self._now_ms += ms
        return self._now_ms
