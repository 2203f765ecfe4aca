"""What happens to a unit on any ward, fault or no fault: it is switched off, not heard of, or its supply dips."""

from __future__ import annotations

from simulator.trial.draft import Draft
from simulator.trial.laws import log_uniform


def switch_off(draft: Draft, from_h: float, to_h: float, cut: bool = False) -> None:
    """Off for a while, at its switch, or because its supply is cut."""
    rows = draft.span(from_h, to_h)
    draft.on[rows] = False
    if cut:
        draft.mains[rows] = False


def gap(draft: Draft, from_h: float, hours: float) -> None:
    """No reading arrives for a while."""
    draft.silent[draft.span(from_h, from_h + hours)] = True


def dip(draft: Draft, from_h: float, hours: float, volts_share: float) -> None:
    """The supply comes down to a share of nominal for a while."""
    draft.volts_share[draft.span(from_h, from_h + hours)] = volts_share


def everyday(draft: Draft, heard_from_h: float) -> None:
    """A few silences in every third story, none after `heard_from_h`, and short dips of the supply in every sixth.

    What falls within minutes while nothing is heard of the unit is no matter of warnings: it is told as silence.
    """
    rng = draft.rng
    if rng.random() < 0.33:
        for _ in range(int(rng.integers(1, 4))):
            gap(draft, rng.uniform(0.0, heard_from_h), log_uniform(rng, 0.03, 0.7))
    if rng.random() < 0.16:
        for _ in range(int(rng.integers(1, 6))):
            dip(draft, rng.uniform(0.0, draft.hours), rng.uniform(10.0, 60.0) / 3600, rng.uniform(0.84, 0.89))
