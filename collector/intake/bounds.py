"""How much of what cannot be read is kept as evidence: the first of each kind always, the rest by a token bucket.

Each row kept is up to 64 KiB written to an SD card. Whatever is not kept is counted all the same.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from collector.intake.admit import Admitted

BURST: Final = 200  # rows kept at once
PER_S: Final = 5.0  # rows kept a second, after that


class Bounds:
    """One bucket for everything that is set aside."""

    def __init__(self, monotonic_s: Callable[[], float]) -> None:
        self._monotonic_s = monotonic_s
        self._tokens, self._at_s = float(BURST), monotonic_s()

    def bound(self, out: Admitted) -> None:
        """Leave in `quarantined` what is to be kept, and count the rest in `unkept`."""
        now_s = self._monotonic_s()
        self._tokens = min(BURST, self._tokens + (now_s - self._at_s) * PER_S)
        self._at_s = now_s
        if len(out.quarantined) <= self._tokens:
            self._tokens -= len(out.quarantined)
            return
        kept, seen = [], set()
        for item in out.quarantined:
            if self._tokens >= 1 or item.reason_kind not in seen:
                self._tokens = max(0.0, self._tokens - 1)
                seen.add(item.reason_kind)
                kept.append(item)
            else:
                out.unkept[item.reason_kind] += 1
        out.quarantined = kept
