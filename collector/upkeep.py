"""The store's upkeep in short slices, done by the collector when no message waits.

Once a day a thread beside it reads the whole store for damage: what it finds is written down and stays in `damage`
until a later look finds nothing.
"""

from __future__ import annotations

import logging
from typing import Final

from collector import log
from collector.clock import Clock, WallClock
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.store import Store
from collector.store.soundness import SoundnessCheck

ROLL_UP_AFTER_MS: Final = 15_000  # a minute is rolled up this long after its end; later readings make it again
PACK_AFTER_MS: Final = 6 * 3_600_000
#: Facility time between rounds.
EVERY_MS: Final = {"roll_up": 5_000, "pack": 60_000, "retain": 3_600_000, "look": 24 * 3_600_000}
#: The clock counts up to this long after the newest reading: one that was set to a wrong year must not take the past.
TRUST_MS: Final = 7 * 24 * 3_600_000
LOOK_AFTER_MS: Final = 600_000  # not while it reads what the broker kept
DOCUMENT: Final = "soundness"


class Upkeep:
    """Takes turns at rollups, packing and retention; each call to slice() does one short piece of one of them."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store, self._clock = store, clock
        self._due_ms = dict.fromkeys(EVERY_MS, 0)
        seen = store.status(DOCUMENT) or {}
        self._due_ms["look"] = max(seen.get("at_ms", 0) + EVERY_MS["look"], clock.now_ms() + LOOK_AFTER_MS)
        self._look: SoundnessCheck | None = None
        self.damage = str(seen.get("said", ""))

    def slice(self) -> bool:
        """Do the next piece that is due; True when there was one. StoreError as the store says."""
        now_ms = self._clock.now_ms()
        if self._look is not None and self._look.done:
            self._looked(self._look, now_ms)
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
        if name == "look":
            self._look = self._look or SoundnessCheck(self._store.path)
            return False
        return self._store.retain(min(now_ms, self._store.newest_ms() + TRUST_MS))

    def _looked(self, look: SoundnessCheck, now_ms: int) -> None:
        self._look = None
        if look.failed is not None:  # whoever reads or writes next will say so
            return
        said = look.result or ""
        news = said and said != self.damage
        self.damage = said
        if news:
            log.say("store-damaged", level=logging.ERROR, said=said)
        row = JournalEntry(at_ms=now_ms, kind=entries.STORE_DAMAGED, origin="collector", body={"said": said})
        with self._store.transaction():
            self._store.set_status(DOCUMENT, {"at_ms": now_ms, "said": said})
            self._store.append_journal([row] if news else [], WallClock().now_ms())

    def close(self) -> None:
        """Look no further."""
        if self._look is not None:
            self._look.close()
            self._look = None

    @property
    def said(self) -> list[str]:
        """What was found, and what to do."""
        if not self.damage:
            return []
        return [
            f"The store is damaged ({self.damage}). Nothing more is lost by waiting, but some past may be unreadable: "
            "stop the collector and restore a good copy with `sieveward restore`."
        ]
