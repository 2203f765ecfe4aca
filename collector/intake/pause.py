"""How long a batch waits for more messages: long enough to share a commit, never for what cannot come."""

from __future__ import annotations

import time
from typing import Final

# Messages that come within this time of the first are one batch: each commit costs a write to disk, and flash wears out
# (1,000 readings/s of 10,000 units: a tenth of the bytes written, a third of the processor time).
GATHER_S: Final = 0.2
#: After a batch of fewer messages than this the load is light, and the next one may wait for longer (10 readings/s of
#: 100 units: 0.7 of the bytes written). Alarms wait for far more than half a second; behind a backlog, where a broker
#: holds back what is not acknowledged, every pause in vain would count.
CALM: Final = 10
CALM_S: Final = 0.5
#: A broker that had held messages back for want of acknowledgements goes on within this time of getting them.
AT_ONCE_S: Final = 0.005


class Pause:
    """The end of a batch: `most` messages, `enough` of them, or a time since the first.

    A broker may send only so many messages (Mosquitto's default: 20) that are not acknowledged. Waiting for more than
    that would be in vain: the batch is acknowledged only after it. So where a broker stopped dead and went on at once
    after the acknowledgement, that many are enough from then on, and twice that once it has not held back any more.
    """

    def __init__(self, most: int) -> None:
        self._most = self.enough = most
        self.longest_s = GATHER_S  # of the next one
        self.stopped_at, self._full = 0, False  # where the last pause waited in vain; whether it had enough
        self._began_s = self._heard_s = self._for_s = 0.0
        self._acknowledged_s = float("-inf")

    def over(self) -> None:
        """Something has come after the last batch: learn from how soon."""
        at_once = time.monotonic() - self._acknowledged_s < AT_ONCE_S
        if at_once and self.stopped_at:
            self.enough = self.stopped_at
        elif self._full and not at_once:
            self.enough = min(2 * self.enough, self._most)
        self.stopped_at, self._full = 0, False

    def begin(self, for_s: float, count: int) -> None:
        """A batch of `count` so far waits for up to for_s."""
        self._began_s = self._heard_s = time.monotonic()
        self._for_s = for_s if count else 0.0

    def left_s(self, count: int) -> float:
        """How long a batch of `count` may wait for more."""
        return self._began_s + self._for_s - time.monotonic() if count < self.enough else 0.0

    def heard(self) -> None:
        """Something has come."""
        self._heard_s = time.monotonic()

    def end(self, count: int) -> None:
        """The batch is closed with `count`."""
        self._full = count >= self.enough
        self.longest_s = CALM_S if count < CALM else GATHER_S
        idle = time.monotonic() - self._heard_s > self._for_s / 2
        self.stopped_at = count if idle and not self._full else 0

    def acknowledged(self) -> None:
        """The batch is on disk, and the broker has been told."""
        self._acknowledged_s = time.monotonic()
