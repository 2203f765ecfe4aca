"""Whatever comes, in whatever order: the rules never crash, never skip a state, and redelivery changes nothing."""

import copy
import math

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import LIMITS, QUANTITIES, Reading, fault_in
from collector.rules.alarms import AlarmBoard
from collector.rules.engine import RulesEngine
from collector.rules.entries import CONDITION, JournalRow
from collector.rules.events import Event, event_fields
from collector.rules.unitrow import PHASES
from tests.scenario_files import START_MS, scenario_site

SITE = scenario_site()
UNITS = [unit.id for unit in SITE.units]


def _value(name: str) -> st.SearchStrategy[float | None]:
    low, high = LIMITS[name]
    return (
        st.none()
        | st.floats(low, high, allow_nan=False)
        | st.sampled_from([0.0, 21.0, 80.0, 84.0, 93.0, 230.0]).map(lambda value: min(max(value, low), high))
    )


readings = st.builds(
    Reading,
    st.sampled_from(UNITS),
    st.integers(0, 4 * 3600).map(lambda second: START_MS + second * 1000),
    **{name: _value(name) for name in QUANTITIES},
)
streams = st.lists(readings, max_size=60)


def run(engine: RulesEngine, stream: list[Reading], *, tick: bool = True) -> list[Event]:
    events: list[Event] = []
    for reading in stream:
        events += engine.tick(reading.time_ms) if tick else []
        events += engine.read(reading, reading.time_ms)
    return events


def check_sound(events: list[Event]) -> None:
    """Raised before cleared, never twice raised, every value of every field in its range."""
    standing: set[tuple[str, str, str]] = set()
    for event in events:
        if event.event == "raised":
            assert event.key not in standing
            assert event.action
            standing.add(event.key)
        else:
            assert event.key in standing
            if event.event == "cleared":
                standing.discard(event.key)


@settings(max_examples=150, deadline=None)
@given(streams)
def test_any_order_of_readings_is_survived_and_every_event_makes_sense(stream: list[Reading]) -> None:
    engine = RulesEngine(SITE)
    check_sound(run(engine, stream))
    for row in engine.rows(UNITS):
        assert row.phase in PHASES
        assert all(math.isfinite(v) and v >= 0 for v in (row.observed_h, row.inferred_h, row.unknown_h))
        assert row.observed_h + row.inferred_h + row.unknown_h <= 4.001


@settings(max_examples=100, deadline=None)
@given(streams, st.data())
def test_redelivery_changes_nothing(stream: list[Reading], data: st.DataObject) -> None:
    ordered = sorted(stream, key=lambda r: r.time_ms)
    cut = data.draw(st.integers(0, len(ordered)))
    plain, twice = RulesEngine(SITE), RulesEngine(SITE)
    expected = run(plain, ordered)
    got = run(twice, ordered[:cut]) + run(twice, ordered[:cut], tick=False) + run(twice, ordered[cut:])
    assert got == expected


@settings(max_examples=100, deadline=None)
@given(streams, st.data())
def test_a_restart_from_the_stored_rows_goes_on_as_if_nothing_had_happened(
    stream: list[Reading], data: st.DataObject
) -> None:
    ordered = sorted(stream, key=lambda r: r.time_ms)
    cut = data.draw(st.integers(0, len(ordered)))
    expected = run(RulesEngine(SITE), ordered)
    first, second = RulesEngine(SITE), RulesEngine(SITE)
    events = run(first, ordered[:cut])
    second.restore(copy.deepcopy(list(first.rows(UNITS))))
    events += run(second, ordered[cut:])
    key = lambda e: (e.time_ms, e.unit, e.ward, e.condition, e.event)  # noqa: E731 - one use
    assert sorted(events, key=key) == sorted(expected, key=key)


@settings(max_examples=60, deadline=None)
@given(streams)
def test_the_board_agrees_with_the_rules(stream: list[Reading]) -> None:
    board = AlarmBoard()
    standing: set[tuple[str, str, str]] = set()
    for seq, event in enumerate(run(RulesEngine(SITE), stream), 1):
        (standing.discard if event.event == "cleared" else standing.add)(event.key)
        board.fold(JournalRow(seq=seq, recorded_ms=0, at_ms=event.time_ms, kind=CONDITION, unit=event.unit,
                              ward=event.ward, condition=event.condition, body=event_fields(event)))  # fmt: skip
    assert {alarm.key for alarm in board.alarms.values() if alarm.active} == standing
    assert board.refused == 0


@given(st.floats(), st.sampled_from(QUANTITIES))
def test_what_no_instrument_says_is_refused(value: float, name: str) -> None:
    low, high = LIMITS[name]
    fault = fault_in(Reading("u", START_MS, **{name: value}))  # type: ignore[arg-type]
    assert (fault is None) == (low <= value <= high)
