"""The scenarios as the rules see them: the night's story is told in order, and a calm day raises nothing."""

from pathlib import Path

import pytest

import simulator
from collector.rules.engine import RulesEngine
from collector.site import load_site
from simulator.fleet import Fleet
from simulator.scenario import load_scenario
from tests.simulator.fleets import HOUR, MINUTE, T0

HOSPITAL = load_site(Path(simulator.__file__).parent / "hospital.toml")


def told(name, hours, seed, history_h=0):
    """The events of a scenario: (minute of the story, unit or ward, raised or cleared, condition)."""
    fleet = Fleet(HOSPITAL, load_scenario(name, HOSPITAL), seed, T0 - history_h * HOUR, story_ms=T0)
    engine, events, ticked_ms = RulesEngine(HOSPITAL), [], 0
    for reading in [*fleet.readings(T0 - history_h * HOUR, T0, 60_000), *fleet.readings(T0, T0 + hours * HOUR)]:
        events += engine.read(reading, reading.time_ms)
        if reading.time_ms - ticked_ms > 5_000:
            ticked_ms = reading.time_ms
            events += engine.tick(ticked_ms - 2_000)
    return [((e.time_ms - T0) / MINUTE, e.unit or e.ward, e.event, e.condition) for e in events]


@pytest.fixture(scope="module", params=[1, 2, 7])
def night(request):
    return told("night", 8, request.param, history_h=6)


# What happens to whom, and between which minutes.
STORY = [
    (15, 20, "ibis", "raised", "flow-above-rated"),
    (16, 25, "ibis", "raised", "purity-amber"),
    (50, 53, "ibis", "cleared", "flow-above-rated"),
    (63, 66, "newborn", "raised", "readings-absent"),
    (79, 81, "newborn", "cleared", "readings-absent"),
    (95, 97, "surgery", "raised", "ward-supply-lost"),
    (107, 110, "surgery", "cleared", "ward-supply-lost"),
    (115, 135, "heron", "raised", "purity-amber"),
    (130, 150, "heron", "raised", "purity-red"),
    (160, 185, "weaver", "raised", "purity-amber"),
    (180, 200, "heron", "raised", "purity-shutdown"),
    (190, 240, "quail", "raised", "purity-amber"),
    (250, 256, "weaver", "cleared", "purity-amber"),
]


def test_the_story_is_told_in_time(night):
    for first, last, who, what, condition in STORY:
        moments = [minute for minute, *rest in night if rest == [who, what, condition]]
        assert [m for m in moments if first <= m <= last], f"{who} {what} {condition}: {moments}"


def test_only_the_units_of_the_story_are_spoken_of(night):
    spoken = {who for _, who, _, _ in night} - {"surgery", "newborn"}
    assert spoken == {"ibis", "weaver", "heron", "quail"}


@pytest.mark.parametrize("ward", ["surgery", "newborn"])
def test_a_ward_without_power_or_readings_hears_of_it_once(night, ward):
    assert [what for _, who, what, _ in night if who == ward] == ["raised", "cleared"]


def test_after_the_story_all_is_well_but_what_is_not_yet_proven(night):
    standing: set[tuple[str, str]] = set()
    for _, who, what, condition in night:
        standing = standing - {(who, condition)} if what == "cleared" else standing | {(who, condition)}
    assert standing <= {(unit, "capacity-falling") for unit in ("heron", "quail", "weaver")}
    assert max(minute for minute, *_ in night) < 310


def test_before_the_story_only_the_fall_of_days_is_known(night):
    before = {(who, condition) for minute, who, _, condition in night if minute <= 15}
    assert before <= {("quail", "capacity-falling"), ("quail", "shutdown-expected")}


def test_the_ward_hears_of_a_falling_unit_long_before_it_is_amber(night):
    for unit in ("heron", "quail"):
        first = {c: min(m for m, who, what, cond in night if (who, what, cond) == (unit, "raised", c))
                 for c in ("shutdown-expected", "purity-amber")}  # fmt: skip
        assert first["shutdown-expected"] < first["purity-amber"] - 30, unit


@pytest.mark.parametrize("seed", [1, 5])
def test_a_calm_day_raises_nothing(seed):
    assert told("calm", 24, seed) == []
