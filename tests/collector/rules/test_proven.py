"""Proven flow by a check with a reference analyser; by readings: test_expect.py."""

from typing import Any

import pytest

from collector.rules.engine import RulesEngine
from collector.rules.unitrow import UnitRow
from tests.collector.rules.made import Bed
from tests.scenario_files import START_MS

GOOD: dict[str, Any] = {"as_left_pct": 93.0, "uncertainty_pct": 1.0, "flow_lpm": 5.0, "result": "pass"}


def row_of(engine: RulesEngine) -> UnitRow:
    return next(engine.rows(["m1"]))


def ran(minutes: float, flow_lpm: float) -> Bed:
    bed = Bed()
    bed.run(minutes, flow_lpm=flow_lpm)
    return bed


@pytest.mark.parametrize(
    ("checked", "proven_lpm"),
    [({}, 5.0), ({"flow_lpm": 4.5}, 4.5), ({"as_left_pct": 86.0}, 5.0), ({"as_left_pct": 85.9}, 1.0),
     ({"result": "fail"}, 1.0), ({"as_left_pct": None}, 1.0), ({"flow_lpm": "5"}, 1.0), ({"flow_lpm": 0.1}, 1.0),
     ({"flow_lpm": 0.5}, 1.0)],
)  # fmt: skip
def test_only_what_amber_allows_with_the_uncertainty_counted_proves(checked: dict[str, Any], proven_lpm: float) -> None:
    bed = ran(10, 1.0)
    changed = bed.engine.note_proof("m1", GOOD | checked, bed.time_ms - 5000)  # readings at 1 L/min have come since
    row = row_of(bed.engine)
    assert row.proven_lpm == proven_lpm
    assert changed is (proven_lpm != 1.0)


def test_a_check_that_is_older_than_what_is_proven_proves_no_more() -> None:
    bed = ran(10, 5.0)
    proven_ms = row_of(bed.engine).proven_ms
    assert not bed.engine.note_proof("m1", GOOD, bed.time_ms - 600_000)
    assert row_of(bed.engine).proven_ms == proven_ms


def test_a_check_that_shows_red_takes_back_what_readings_seemed_to_prove() -> None:
    bed = ran(10, 5.0)
    assert bed.engine.note_proof("m1", GOOD | {"as_left_pct": 80.0, "result": "fail", "flow_lpm": 4.9}, bed.time_ms)
    assert row_of(bed.engine).proven_lpm is None


def test_a_check_of_a_unit_that_nobody_knows_or_has_heard_says_nothing() -> None:
    assert not Bed().engine.note_proof("m1", GOOD, START_MS)
    assert not Bed().engine.note_proof("none", GOOD, START_MS)
