"""The store's upkeep in short slices, done by the collector when no message waits."""

from __future__ import annotations

from typing import Final

from collector.clock import Clock
from collector.store import Store

ROLL_UP_AFTER_MS: Final = 15_000  # a minute is rolled up this long after its end; later readings make it again
PACK_AFTER_MS: Final = 6 * 3_600_000
EVERY_MS: Final = {"roll_up": 5_000, "pack": 60_000, "retain": 3_600_000}  # facility time between rounds


class Upkeep:
    """Takes turns at rollups, packing and retention; each call to slice() does one short piece of one of them."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store, self._clock = store, clock
        self._due_ms = dict.fromkeys(EVERY_MS, 0)

    def slice(self) -> bool:
        """Do the next piece that is due; True when there was one. StoreError as the store says."""
        now_ms = self._clock.now_ms()
        for name, due_ms in self._due_ms.items():
            if now_ms >= due_ms:
                more = self._do(name, now_ms)
                self._due_ms[name] = now_ms if more else now_ms + EVERY_MS[name]
                return True
        return False

    def _do(self, name: str, now_ms: int) -> bool:
        if name == "roll_up":
            return self._store.roll_up(now_ms - ROLL_UP_AFTER_MS)
        if name == "pack":
            return self._store.pack(now_ms - PACK_AFTER_MS)
        return self._store.retain(now_ms)
