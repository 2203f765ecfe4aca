"""Readings by unit into packs of many moments, each unit's in the order given."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from collector.bridge.spool_file import Row
from collector.reading import Reading

MOMENTS_MAX: Final = 200  # moments in a pack: some 60 kB, well under what a collector takes
#: Of a backlog, what a pack spans at most. Packs of many units follow each other, and while one is read the others'
#: units must not look silent: less than a collector takes for the present (horizon.BEHIND_MS).
SPAN_MS: Final = 50_000


def is_measured(reading: Reading) -> bool:
    """Whether there is anything in a reading to send."""
    return any(getattr(reading, name) is not None for name in reading.__struct_fields__[2:])


def packed(rows: Iterable[Row]) -> Iterator[tuple[str, list[Row]]]:
    """Packs of one unit as (unit, rows), MOMENTS_MAX moments and SPAN_MS at most; each comes as soon as it is full."""
    packs: dict[str, list[Row]] = {}
    for row in rows:
        unit = row[1].unit
        pack = packs.get(unit)
        if pack and (len(pack) >= MOMENTS_MAX or abs(row[1].time_ms - pack[0][1].time_ms) >= SPAN_MS):
            yield unit, packs.pop(unit)
        packs.setdefault(unit, []).append(row)
    yield from packs.items()
