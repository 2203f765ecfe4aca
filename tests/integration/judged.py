"""Which readings a collector's rules took in, over all its deaths: those behind newer ones are stored, but not judged.

A line of the file is what the rules began with in a life ({unit: last_ms}), or one reading taken in ([unit, time_ms]).
What a life took in and did not commit is not what the next one begins with, and comes again.
"""

from __future__ import annotations

import json
from pathlib import Path

from collector.rules.engine import RulesEngine

Judged = set[tuple[str, int]]


def write_down(path: Path) -> None:
    """From now on, this process writes down what its rules take in; a kill loses no line."""
    file = path.open("ab", buffering=0)
    read, restore = RulesEngine.read, RulesEngine.restore

    def said(line: object) -> None:
        file.write(json.dumps(line).encode() + b"\n")

    def reading(self, r, now_ms):
        last_ms = self._units[r.unit].last_ms
        found = read(self, r, now_ms)
        if last_ms is None or r.time_ms > last_ms:
            said([r.unit, r.time_ms])
        return found

    def restored(self, rows, estimates=()):
        restore(self, rows, estimates)
        said({name: unit.last_ms for name, unit in self._units.items() if unit.last_ms is not None})

    RulesEngine.read, RulesEngine.restore = reading, restored  # type: ignore[method-assign]


def read_back(path: Path) -> Judged:
    """Every (unit, time_ms) that was judged in the end."""
    taken: dict[str, list[int]] = {}
    for line in path.read_text(encoding="ascii").splitlines():
        said = json.loads(line)
        if isinstance(said, list):
            taken.setdefault(said[0], []).append(said[1])
            continue
        for unit, times in taken.items():
            while times and times[-1] > said.get(unit, -1):
                times.pop()
    return {(unit, at_ms) for unit, times in taken.items() for at_ms in times}
