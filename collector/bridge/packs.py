"""Readings by unit into packs of many moments, each unit's in the order given."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from collector.bridge.spool_file import Row
from collector.reading import Reading

MOMENTS_MAX: Final = 200  # moments in a pack: some 60 kB, well under what a collector takes


def is_measured(reading: Reading) -> bool:
    """Whether there is anything in a reading to send."""
    return any(getattr(reading, name) is not None for name in reading.__struct_fields__[2:])


def packed(rows: Iterable[Row]) -> Iterator[tuple[str, list[Row]]]:
    """Packs of one unit, MOMENTS_MAX moments at most, as (unit, rows); a pack comes as soon as it is full."""
    packs: dict[str, list[Row]] = {}
    for row in rows:
        pack = packs.setdefault(row[1].unit, [])
        pack.append(row)
        if len(pack) == MOMENTS_MAX:
            yield row[1].unit, packs.pop(row[1].unit)
    yield from packs.items()
