"""Up to when it is known what happened, so that silence means silence; no IO, the caller says what time it is.

After a connect the broker first sends what it kept. Until that is read, a unit that has not been heard of may well have
reported: time then goes on only as far as readings have come. Later it goes on with the facility's clock.
"""

from __future__ import annotations

from typing import Final

SETTLE_S: Final = 2.0  # of wall time: how late a reading may be and still come before a silence is judged
QUIET_S: Final = 1.0  # of wall time: when no reading comes for this long, the broker has kept nothing more for us
#: How far behind the clock readings may be and still be the present ones: half of what makes a silence.
BEHIND_MS: Final = 60_000
#: Of wall time: after this the clock counts in any case, or bridges whose clocks are slow would hide every silence.
LONGEST_S: Final = 300.0
#: Of wall time: without a broker for longer, bridges come back with a backlog, each in its own time and behind what is
#: live. Well within a silence's limit, so that after a shorter loss their deadlines still hold.
BLIND_S: Final = 60.0


class Horizon:
    """`caught_up` says whether what the broker had kept has been read on this connection."""

    def __init__(self, speed: float, *, blind: bool = False) -> None:
        """blind: nothing could be heard before the first connection either."""
        self._settle_ms = int(SETTLE_S * 1000 * speed)
        self._connection = self._known_ms = self._clock_ms = 0
        self._since_s = self._heard_s = 0.0
        self._met: int | None = None  # the connection that `meets` was last asked about
        self._judged_s = float("-inf") if blind else float("inf")
        self.caught_up = False

    def lost(self) -> None:
        """There is no connection: silence says nothing about a unit."""
        self._connection, self.caught_up = 0, False

    def meets(self, connection: int, now_s: float) -> bool:
        """Whether this connection, asked about before anything of it is judged, ends a time of hearing nothing."""
        if connection == self._met:
            return False
        self._met = connection
        return now_s - self._judged_s > BLIND_S

    def known_until(self, connection: int, now_s: float, now_ms: int, middle_ms: int | None) -> int | None:
        """Up to when silences can be judged now, None for no further than before.

        now_s is monotonic wall time. middle_ms is the middle one of the times of the readings that have just come, None
        when none came: one unit whose clock is ahead must not make an old batch look like the present.
        """
        if connection != self._connection:
            self._connection, self.caught_up = connection, False
            self._since_s = self._heard_s = now_s
        if middle_ms is not None:
            self._heard_s = now_s
        clock_ms = now_ms - self._settle_ms
        if now_ms < self._clock_ms - self._settle_ms:  # the clock was set back: what it said before is worth nothing
            self._known_ms = min(self._known_ms, clock_ms)
        self._clock_ms = now_ms
        fresh = middle_ms is not None and middle_ms + BEHIND_MS >= clock_ms
        if fresh or now_s - self._heard_s >= QUIET_S or now_s - self._since_s >= LONGEST_S:
            self.caught_up = True
        if self.caught_up:
            self._judged_s = now_s
            self._known_ms = max(self._known_ms, clock_ms)
        elif middle_ms is not None:
            self._known_ms = max(self._known_ms, middle_ms + BEHIND_MS)
        else:
            return None
        return self._known_ms
