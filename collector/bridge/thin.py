"""Fewer readings of a device that says its values many times a second: the first in each span, and each new lamp. Pure.

A mean would be a value that nobody measured, and a spike in it would be no spike any more.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.reading import Reading


class Thin:
    """Lets one reading of each unit through in `every_s`; `left_out` counts the others."""

    def __init__(self, every_s: float) -> None:
        self._every_s = every_s
        self._last: dict[str, tuple[float, str | None]] = {}
        self.left_out = 0

    def turn(self, readings: Iterable[Reading], now_s: float) -> list[Reading]:
        """Those that go on."""
        kept = []
        for reading in readings:
            at_s, lamp = self._last.get(reading.unit, (float("-inf"), None))
            if now_s - at_s < self._every_s and reading.lamp == lamp:
                self.left_out += 1
                continue
            self._last[reading.unit] = (now_s, reading.lamp)
            kept.append(reading)
        return kept
