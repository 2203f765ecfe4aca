"""Whatever a unit goes through, what is known and said of its capacity makes sense; a restart changes none of it."""

import copy
import math
from itertools import pairwise
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.rules.capacity.now import CapacityNow
from collector.rules.engine import RulesEngine
from collector.rules.events import PRIORITIES, Event
from collector.rules.limits import MINUTE
from tests.collector.rules.made import Bed
from tests.collector.rules.test_properties import check_sound
from tests.scenario_files import scenario_site

#: A unit that is low and is switched on and off again has this raised anew while it stands: told, and looked past here.
AGAIN = "purity-shutdown"

#: What may happen to a unit for a while; capacities and flows are such that every limit is met now and then.
_CAPACITY, _FLOW = st.floats(1.0, 9.0), st.floats(0.3, 7.0)
steady = st.fixed_dictionaries({"capacity_lpm": _CAPACITY, "flow_lpm": _FLOW})
falling = st.fixed_dictionaries({"capacity_lpm": st.tuples(_CAPACITY, _CAPACITY), "flow_lpm": _FLOW})
leaking = st.fixed_dictionaries({"capacity_lpm": _CAPACITY, "flow_lpm": st.tuples(_FLOW, _FLOW)})
analyser = st.fixed_dictionaries({"purity_pct": st.none() | st.floats(-1.0, 110.0), "flow_lpm": _FLOW})
off = st.just({"purity_pct": 21.0, "flow_lpm": 0.0, "power_w": 5.0})
signs = st.fixed_dictionaries(
    {"capacity_lpm": _CAPACITY, "power_w": st.none() | st.floats(150.0, 600.0), "temp_c": st.none() | st.floats(5, 70),
     "volts": st.none() | st.floats(100.0, 270.0), "pressure_kpa": st.none() | st.floats(0.0, 250.0)}
)  # fmt: skip
silent = st.none()
spans = st.tuples(
    steady | falling | leaking | analyser | off | signs | silent, st.sampled_from([0.5, 3.0, 12.0, 45.0, 150.0])
)
lives = st.lists(spans, min_size=1, max_size=14)


def lived(life: list[tuple[dict[str, Any] | None, float]], *, restarts: bool = False) -> tuple[Bed, list[CapacityNow]]:
    """A unit that went through all that, and what was known of it after each span."""
    bed, known = Bed(every_s=30, noise_pct=0.2), []
    for values, minutes in life:
        if values is None:
            bed.time_ms += round(minutes * MINUTE)
        else:
            bed.run(minutes, **values)
        now = bed.engine.capacity_of(bed.unit)
        known += [now] if now is not None else []
        if restarts:
            restart(bed)
    return bed, known


def restart(bed: Bed) -> None:
    units = [unit.id for unit in scenario_site().units]
    engine = RulesEngine(scenario_site())
    engine.restore(copy.deepcopy(list(bed.engine.rows(units))), list(bed.engine.estimates(units)))
    bed.engine = engine


def check_known(now: CapacityNow) -> None:
    assert 0 < now.p05_lpm <= now.p50_lpm <= now.p95_lpm < math.inf
    assert now.seen or (now.outlook, now.turned_up, now.good_to_lpm, now.fall_pct_per_day) == (None, (), None, None)
    assert now.good_to_lpm is None or 0 <= now.good_to_lpm <= 5.0
    for outlook in (now.outlook, *now.turned_up):
        if outlook is not None:
            assert all(
                v is None or 0 <= v < math.inf for q in (outlook.amber_in_min, outlook.red_in_min) for v in q.values()
            )
    assert bool(now.why) >= bool(now.cause)


def check_priorities(events: list[Event]) -> None:
    """A priority never falls from one word to the next while an alarm stands."""
    for condition in ("shutdown-expected", "capacity-falling"):
        for before, after in pairwise(event for event in events if event.condition == condition):
            if after.event != "raised":
                assert PRIORITIES.index(after.priority) >= PRIORITIES.index(before.priority)


@settings(max_examples=60, deadline=None)
@given(lives)
def test_whatever_a_unit_goes_through_what_is_said_makes_sense(life: list[tuple[dict[str, Any] | None, float]]) -> None:
    bed, known = lived(life)
    check_sound([event for event in bed.events if event.condition != AGAIN])
    check_priorities(bed.events)
    for now in known:
        check_known(now)
    assert len(next(bed.engine.estimates([bed.unit]))[1]) < 16 * 1024


@settings(max_examples=40, deadline=None)
@given(lives)
def test_whatever_a_unit_goes_through_restarts_change_nothing(life: list[tuple[dict[str, Any] | None, float]]) -> None:
    (bed, known), (again, known_again) = lived(life), lived(life, restarts=True)
    assert again.events == bed.events
    assert known_again == known
    assert list(again.engine.estimates([bed.unit])) == list(bed.engine.estimates([bed.unit]))
