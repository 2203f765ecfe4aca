"""What is believed of a unit outlives a restart at any moment, in little room; a belief of another version is left."""

import copy
from functools import cache
from typing import NamedTuple

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import Reading
from collector.rules.capacity.belief import new_belief, packed
from collector.rules.engine import RulesEngine
from collector.rules.events import Event
from collector.rules.limits import HOUR
from tests.collector.rules.made import Bed
from tests.scenario_files import scenario_site

UNIT = "m1"


class Course(NamedTuple):
    """What came of some readings: all that was said, and all that would be stored at their end."""

    events: list[Event]
    row: bytes
    estimate: bytes


@cache
def eventful() -> tuple[Reading, ...]:
    """Patients change, a gap, a stop, a minute of no purity, one wild value, and a fall through all limits."""
    bed = Bed(UNIT, every_s=20, noise_pct=0.15)
    found = [*bed.readings(60), *bed.readings(20, flow_lpm=2.0), *bed.readings(1, purity_pct=None)]
    bed.time_ms += 9 * 60_000
    found += [*bed.readings(30), *bed.readings(0.3, purity_pct=40.0), *bed.readings(10)]
    found += [*bed.readings(5, purity_pct=21.0, flow_lpm=0.0, power_w=5.0), *bed.readings(25, purity_pct=(50.0, 93.5))]
    found += [*bed.readings(130, capacity_lpm=(5.5, 2.6), temp_c=(31.0, 40.0))]
    return (*found, *bed.readings(5, purity_pct=30.0, flow_lpm=0.0, power_w=5.0))


def course(cuts: list[int]) -> Course:
    """The course of all readings, with a restart from what is stored before each reading named by `cuts`."""
    engine, events = RulesEngine(scenario_site()), []
    for place, r in enumerate(eventful()):
        if place in cuts:
            rows, estimates = copy.deepcopy(list(engine.rows([UNIT]))), list(engine.estimates([UNIT]))
            engine = RulesEngine(scenario_site())
            engine.restore(rows, estimates)
        events += engine.tick(r.time_ms) + engine.read(r, r.time_ms)
    (row,), ((_, estimate),) = engine.rows([UNIT]), engine.estimates([UNIT])
    return Course([e for e in events if e.unit == UNIT], msgspec.msgpack.encode(row), estimate)


@cache
def unbroken() -> Course:
    return course([])


def test_the_readings_of_these_tests_are_eventful() -> None:
    said = {event.condition for event in unbroken().events}
    assert {"shutdown-expected", "purity-amber", "purity-red", "purity-shutdown", "readings-absent"} <= said


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(0, len(eventful()) - 1), min_size=1, max_size=5))
def test_a_restart_at_any_moment_changes_nothing_that_is_said_or_stored(cuts: list[int]) -> None:
    assert course(cuts) == unbroken()


def test_a_belief_takes_little_room() -> None:
    assert len(unbroken().estimate) < 16 * 1024
    assert len(unbroken().row) + len(unbroken().estimate) < 16 * 1024


def test_a_belief_does_not_grow_with_what_was_watched() -> None:
    bed = Bed(every_s=60)
    sizes = []
    for _ in range(3):
        bed.run(12 * 60, capacity_lpm=(5.5, 4.6))
        sizes.append(len(next(bed.engine.estimates([bed.unit]))[1]))
    assert max(sizes) - min(sizes) < 64


@pytest.mark.parametrize("blob", [b"", b"\xc1", b"\x00", msgspec.msgpack.encode(["another version", 7]), b"\x93\x01"])
def test_a_belief_of_another_version_is_left_and_learned_anew(blob: bytes) -> None:
    bed = Bed(UNIT)
    bed.run(120)
    engine = RulesEngine(scenario_site())
    engine.restore(copy.deepcopy(list(bed.engine.rows([UNIT]))), [(UNIT, blob)])
    assert list(engine.estimates([UNIT])) == [(UNIT, packed(new_belief(5.0)))]
    known, bed.engine = bed.engine.capacity_of(UNIT), engine
    bed.run(240)
    after = engine.capacity_of(UNIT)
    assert after is not None
    assert known is not None
    assert after.at_ms > known.at_ms
    assert after.p05_lpm > 4.0


def test_the_estimate_of_a_unit_that_is_gone_is_left_alone() -> None:
    RulesEngine(scenario_site()).restore([], [("gone", b"anything")])


def test_each_hour_with_a_mean_in_it_is_one_point_of_the_record() -> None:
    bed = Bed()
    bed.run(6 * 60)
    points = bed.engine.take_capacity_points()
    hours = [point.hour_ms // HOUR for point in points]
    assert hours == list(range(hours[0], hours[0] + len(hours)))
    assert 5 <= len(hours) <= 6
    assert bed.engine.take_capacity_points() == []


def test_only_units_whose_estimate_changed_are_to_be_stored() -> None:
    bed = Bed()
    bed.run(5)
    assert bed.engine.estimates_touched == set()
    bed.run(20)
    assert bed.engine.estimates_touched == {bed.unit}
    bed.engine.clear_touched()
    assert bed.engine.estimates_touched == set()
