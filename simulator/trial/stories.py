"""Many stories, made one at a time: story i depends on the seed and i alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from simulator.physics import AIR_PCT
from simulator.trial.benign import draft_benign
from simulator.trial.draft import Draft
from simulator.trial.faults import draft_fault
from simulator.trial.measured import measure
from simulator.trial.outcome import Truth, work_out
from simulator.trial.story import BENIGN_KINDS, FAULT_KINDS, Story, Times

_EPOCH_MS: Final = 1_767_225_600_000  # 2026-01-01, an invented year for invented data
_YEAR_MIN: Final = 365 * 1440
#: The recording goes on so long after the unit has switched itself off.
_AFTER_SHUTDOWN_S: Final = 1800.0
_CHANGEOVER_MIN: Final = (10.0, 15.0, 20.0)


def plan(faults: int = 225, benign: int = 200) -> list[tuple[int, str]]:
    """Number and kind of each story of a trial: even numbers are fault stories, odd ones benign, kinds in turn."""
    bad = [(2 * j, FAULT_KINDS[j % len(FAULT_KINDS)]) for j in range(faults)]
    good = [(2 * j + 1, BENIGN_KINDS[j % len(BENIGN_KINDS)]) for j in range(benign)]
    return sorted(bad + good)


def make_stories(seed: int, faults: int = 225, benign: int = 200) -> Iterator[Story]:
    """Make the stories of a trial, one after the other."""
    for number, kind in plan(faults, benign):
        yield story(seed, number, kind)


def story(seed: int, number: int, kind: str) -> Story:
    """Make one story of a kind; ValueError when there is no such kind."""
    is_benign = kind in BENIGN_KINDS
    kinds = BENIGN_KINDS if is_benign else FAULT_KINDS
    if kind not in kinds:
        raise ValueError(f"no kind of story '{kind}'; there are {', '.join((*FAULT_KINDS, *BENIGN_KINDS))}")
    rng = np.random.default_rng([seed, number])
    variant = number // 2 // len(kinds)
    draft = draft_benign(rng, kind, variant) if is_benign else draft_fault(rng, kind, variant)
    truth = work_out(draft)
    measured = measure(draft, truth)
    end = _end(draft, truth)
    truth.health.shown_rows = end
    time_ms = _times_ms(draft)
    return Story(
        name=f"{kind}-{number}",
        kind=kind,
        benign=is_benign,
        seed=seed,
        model=draft.design.model,
        changeover_min=float(rng.choice(_CHANGEOVER_MIN)),
        time_ms=time_ms[:end],
        measured={name: values[:end] for name, values in measured.items()},
        true_purity_pct=np.where(truth.running, truth.purity_pct, AIR_PCT)[:end],
        true_flow_lpm=truth.sieve_lpm[:end],
        running=truth.running[:end],
        onset_ms=None if draft.onset_h is None else int(time_ms[draft.row(draft.onset_h)]),
        shutdown_ms=None if truth.shutdown_row is None else int(time_ms[truth.shutdown_row]),
        steady=truth.health,
    )


def _end(draft: Draft, truth: Truth) -> int:
    if truth.shutdown_row is None:
        return draft.rows
    return min(truth.shutdown_row + int(_AFTER_SHUTDOWN_S / draft.step_s) + 1, draft.rows)


def _times_ms(draft: Draft) -> Times:
    """When each row was measured: a regular step, some bridges not quite."""
    rng = draft.rng
    first = _EPOCH_MS + int(rng.integers(_YEAR_MIN)) * 60_000
    step_ms = 1000.0 * draft.step_s
    offset_ms = rng.uniform(-1.0, 1.0, draft.rows) * draft.instruments.jitter_share * step_ms
    return np.asarray(first + np.rint(np.arange(draft.rows) * step_ms + offset_ms), np.int64)
