"""How long an alert stands: spells made from flags with delays, and which of them was in force at a moment.

The product's alerts and the baselines' are both judged as spells, by the same functions.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from simulator.trial.story import Flags, Times

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS
#: A pause of an alert that is shorter than this does not end what somebody is doing about it. Common practice.
PAUSE_MS: Final = 30 * MINUTE_MS


class Spell(NamedTuple):
    """An alert that stood from one moment to another; `to_ms` None: it still stood at the end."""

    from_ms: int
    to_ms: int | None = None


def spells_of(time_ms: Times, bad: Flags, on_ms: int, off_ms: int) -> list[Spell]:
    """Raise when every reading for `on_ms` was bad, end when none was for `off_ms`; one entry a reading."""
    spells: list[Spell] = []
    began_ms: int | None = None
    for first_ms, last_ms, is_bad in _runs(time_ms, bad):
        if is_bad == (began_ms is not None) or last_ms - first_ms < (on_ms if is_bad else off_ms):
            continue
        moment_ms = int(time_ms[np.searchsorted(time_ms, first_ms + (on_ms if is_bad else off_ms))])
        if began_ms is None:
            began_ms = moment_ms
        else:
            spells.append(Spell(began_ms, moment_ms))
            began_ms = None
    return spells if began_ms is None else [*spells, Spell(began_ms)]


def _runs(time_ms: Times, bad: Flags) -> Iterator[tuple[int, int, bool]]:
    """Stretches of readings that agree: the first and the last one's time, and what they say."""
    if not len(bad):
        return
    starts = np.concatenate([[0], np.flatnonzero(bad[1:] != bad[:-1]) + 1])
    ends = np.concatenate([starts[1:] - 1, [len(bad) - 1]])
    yield from zip(time_ms[starts].tolist(), time_ms[ends].tolist(), bad[starts].tolist(), strict=True)


def joined(spells: Iterable[Spell], pause_ms: int = PAUSE_MS) -> list[Spell]:
    """Spells of several alerts as one: overlapping ones, and ones that follow within `pause_ms`, become one spell."""
    whole: list[Spell] = []
    for spell in sorted(spells, key=lambda spell: spell.from_ms):
        last = whole[-1] if whole else None
        if last is None or (last.to_ms is not None and spell.from_ms - last.to_ms > pause_ms):
            whole.append(spell)
        else:
            ends = (last.to_ms, spell.to_ms)
            whole[-1] = Spell(last.from_ms, None if None in ends else max(end for end in ends if end is not None))
    return whole


def in_force(spells: Sequence[Spell], at_ms: int, not_before_ms: int) -> int | None:
    """When the alert that is in force just before `at_ms` was raised; None when nobody had been told.

    An alert from before `not_before_ms` counts from then on only: it was not about what happened later.
    """
    before = joined(spell for spell in spells if spell.from_ms < at_ms)
    if not before or (before[-1].to_ms is not None and at_ms - before[-1].to_ms > PAUSE_MS):
        return None
    return max(before[-1].from_ms, not_before_ms)
