"""One moment told in several lines, put together into one reading. Pure.

A device may say "O2=93.4", then "FLOW=4.9", each a line. Rules judge purity at a flow, so the two belong together.
"""

from __future__ import annotations

from collections.abc import Iterable

from collector.reading import QUANTITIES, Reading

_FIELDS = (*QUANTITIES, "lamp")


def add_to(known: Reading, later: Reading) -> None:
    """Put what a later reading of the same moment says into the known one."""
    for name in _FIELDS:
        if (value := getattr(later, name)) is not None:
            setattr(known, name, value)


class Gather:
    """Holds a unit's reading for `wait_s` after its first line, or until a line says again what is in it.

    own_time: lines carry the device's time, and only those of the same time belong together; otherwise the time is
    that of the first line.
    """

    def __init__(self, wait_s: float, *, own_time: bool) -> None:
        self._wait_s, self._own_time = wait_s, own_time
        self._held: dict[str, tuple[Reading, float]] = {}

    def turn(self, readings: Iterable[Reading], now_s: float) -> list[Reading]:
        """Take what was read; give what is whole."""
        whole = []
        for reading in readings:
            held = self._held.get(reading.unit)
            if held and self._belongs(held[0], reading):
                add_to(held[0], reading)
                continue
            whole += [held[0]] if held else []
            self._held[reading.unit] = (reading, now_s + self._wait_s)
        for unit, (reading, until_s) in list(self._held.items()):
            if until_s <= now_s:
                whole.append(reading)
                del self._held[unit]
        return whole

    def until_s(self) -> float:
        """When the next reading is whole at the latest; infinity when nothing is held."""
        return min((until_s for _, until_s in self._held.values()), default=float("inf"))

    def _belongs(self, held: Reading, reading: Reading) -> bool:
        again = any(getattr(held, name) is not None and getattr(reading, name) is not None for name in _FIELDS)
        return not again and (held.time_ms == reading.time_ms or not self._own_time)
