"""Service hours over two months with gaps, restarts and meter resets, against what is known to be true.

Source of the target: the issue of the service room (0.1 %); a whole year of each kind is tests/bench/service_hours.py.
"""

import pytest

from tests.bench.service_hours import KINDS, TARGET_PCT, Kind, measured

DAYS, STEP_MS = 60, 60_000
NEAR = [kind for kind in KINDS if kind.name != "gaps, no meter" and kind.meter_step_h != 1.0]


@pytest.mark.parametrize("kind", NEAR, ids=lambda kind: kind.name)
def test_hours_are_within_a_tenth_of_a_per_cent(kind: Kind) -> None:
    found = measured(kind, 1, STEP_MS, DAYS)
    assert found.truth_h > 500
    assert abs(found.off_pct) <= TARGET_PCT


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_the_truth_lies_between_what_was_counted_and_that_with_the_unknown(kind: Kind) -> None:
    assert measured(kind, 2, STEP_MS, DAYS).bracketed


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_reset_of_the_meter_is_told_and_nothing_else(kind: Kind) -> None:
    """A meter that goes on by whole hours was once told as replaced at every hour."""
    assert measured(kind, 3, STEP_MS, DAYS).replaced == kind.resets


def test_without_a_meter_a_gap_is_unknown_and_not_made_up() -> None:
    found = measured(Kind("gaps", gaps=300, meter_step_h=None), 1, STEP_MS, DAYS)
    assert found.inferred_h == 0.0
    assert found.unknown_h > 0.02 * found.truth_h
