"""How many readings of a backlog may be on their way at once, so that live ones beside them are not held up. Pure.

A network of an unknown width, and a broker of an unknown speed, are asked through their acknowledgements: prompt ones
open the window, late ones halve it (additive increase, multiplicative decrease, as TCP's congestion avoidance does,
RFC 5681, but by delay: what a weak network has queued is what a live reading waits behind).
"""

from __future__ import annotations

from typing import Final

SMALLEST: Final = 50
LARGEST: Final = 4_000  # more makes no broker quicker, and what is live waits behind it
PROMPT_S: Final = 0.5  # slower than any broker and network at ease, quick enough for a live reading behind it
LATE_S: Final = 1.5


class Pace:
    """`window` is how many readings may be on their way without an acknowledgement."""

    def __init__(self) -> None:
        self.window = 1_000.0
        self._halved_s = float("-inf")

    def acknowledged(self, readings: int, sent_s: float, now_s: float) -> None:
        """A pack of so many readings was sent at sent_s and is acknowledged now; both in monotonic seconds."""
        waited_s = now_s - sent_s
        if waited_s <= PROMPT_S:
            self.window = min(LARGEST, self.window + readings / 2)
        elif waited_s > LATE_S and sent_s >= self._halved_s:  # what was sent before the last halving says nothing new
            self.window = max(SMALLEST, self.window / 2)
            self._halved_s = now_s
