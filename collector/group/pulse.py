"""Which members live, judged by their beats alone.

Rules of this file: no clock of another machine is believed; a member is silent for as long as its beat has not changed
on our own clock. Time counts only while we could write a beat ourselves: after minutes without a working cluster, in
which nobody could, nobody has been silent for longer than before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

BEAT_S: Final = 0.5  # between two beats
DEAD_S: Final = 4.0  # a member whose beat has stood still for this long has lost what it held
COUNTED_S: Final = 2 * BEAT_S  # the most that one round counts for


class Pulse:
    """Told once a round what every member's beat is, after our own was written."""

    def __init__(self) -> None:
        self._beats: dict[str, bytes | None] = {}
        self._silent_s: dict[str, float] = {}
        self._looked_s: float | None = None

    def look(self, beats: Mapping[str, bytes | None], now_s: float) -> None:
        """The beats of all members, None for one that has none (yet); now_s is monotonic."""
        passed_s = 0.0 if self._looked_s is None else min(now_s - self._looked_s, COUNTED_S)
        self._looked_s = now_s
        for name, beat in beats.items():
            still = name in self._beats and self._beats[name] == beat
            self._silent_s[name] = self._silent_s[name] + passed_s if still else 0.0
        self._beats = dict(beats)

    def dead(self, names: Iterable[str]) -> list[str]:
        """Those of them that have been silent for too long."""
        return [name for name in names if self._silent_s.get(name, 0.0) >= DEAD_S]
