"""What several units of a ward show at once is told once, is ended once, and outlives a restart."""

import copy

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import Reading
from collector.rules.engine import RulesEngine
from collector.rules.events import Event
from collector.site import parse_site

START_MS = 1_790_000_000_000
SECOND, MINUTE = 1_000, 60_000
UNITS = [f"u{n}" for n in range(1, 7)]
SITE = parse_site(
    '[facility]\nid="sim-shared"\n[[ward]]\nid="big"\n[[ward]]\nid="small"\n[[model]]\nid="five"\nrated_flow_lpm=5\n'
    + "".join(f'[[unit]]\nid="{u}"\nmodel="five"\nward="{"big" if u < "u5" else "small"}"\n' for u in UNITS)
)


def at(second: float) -> int:
    return START_MS + int(second * SECOND)


def good(unit: str, second: float, volts: float = 230.0, flow: float = 4.0) -> Reading:
    return Reading(unit, at(second), 93.0, flow, 340.0, volts=volts)


def run(engine: RulesEngine, readings: list[Reading]) -> list[Event]:
    events: list[Event] = []
    for r in sorted(readings, key=lambda r: (r.time_ms, r.unit)):
        events += engine.tick(r.time_ms)
        events += engine.read(r, r.time_ms)
    return events


def told(events: list[Event]) -> list[tuple[int, str, str, str]]:
    return [((e.time_ms - START_MS) // SECOND, e.event, e.unit or e.ward, e.condition) for e in events]


def steady(units: list[str], first: int, last: int, **more: float) -> list[Reading]:
    return [good(u, s, **more) for u in units for s in range(first, last + 1, 10)]


def test_the_ward_s_event_names_its_units_since_when_and_the_bridge_that_went() -> None:
    engine = RulesEngine(SITE)
    run(engine, steady(UNITS, 0, 600))
    engine.note_link("bridge-far", False, at(100))
    engine.note_link("bridge-big", False, at(630))
    events = run(engine, steady(["u5", "u6"], 610, 800))
    assert told(events) == [(735, "raised", "big", "readings-absent")]
    assert events[0].evidence == {
        "units_lost": 4, "units": UNITS[:4], "in_use": True, "since": "2026-09-21T14:23:20Z", "seen_for_s": 15,
        "bridge": "bridge-big",
    }  # fmt: skip
    assert (events[0].priority, events[0].audience) == ("medium", ("ward", "engineer"))
    assert "4 units" in events[0].action


def test_a_bridge_that_is_back_is_named_no_more() -> None:
    engine = RulesEngine(SITE)
    run(engine, steady(UNITS, 0, 600))
    engine.note_link("bridge-big", False, at(610))
    engine.note_link("bridge-big", True, at(620))
    (event,) = run(engine, steady(["u5", "u6"], 610, 800))
    assert "bridge" not in event.evidence


def test_a_large_group_that_half_comes_back_is_named_anew_and_not_told_one_by_one() -> None:
    site = parse_site('[facility]\nid="sim-many"\n[[ward]]\nid="w"\n' + "".join(
        f'[[unit]]\nid="v{n:02}"\nward="w"\n' for n in range(20)))  # fmt: skip
    units = [unit.id for unit in site.units]
    engine = RulesEngine(site)
    events = run(engine, steady(units, 0, 600) + steady(units[:10], 1200, 2000) + steady(units[10:], 1500, 2000))
    assert told(events) == [
        (735, "raised", "w", "readings-absent"),
        (1200, "updated", "w", "readings-absent"),
        (1500, "updated", "w", "readings-absent"),
        (1500, "cleared", "w", "readings-absent"),
    ]
    assert events[1].evidence["units"] == units[10:]


def test_a_few_units_of_a_large_ward_that_fall_silent_at_once_are_one_event_too() -> None:
    site = parse_site('[facility]\nid="sim-many"\n[[ward]]\nid="w"\n' + "".join(
        f'[[unit]]\nid="v{n:02}"\nward="w"\n' for n in range(20)))  # fmt: skip
    units = [unit.id for unit in site.units]
    events = run(RulesEngine(site), steady(units, 0, 600) + steady(units[4:], 610, 900))
    assert told(events) == [(735, "raised", "w", "readings-absent")]


def test_a_second_bridge_that_dies_later_is_told_anew() -> None:
    """The ward's event stands; what joins it much later must be heard, and not slip in."""
    site = parse_site('[facility]\nid="sim-many"\n[[ward]]\nid="w"\n' + "".join(
        f'[[unit]]\nid="v{n:02}"\nward="w"\n' for n in range(8)))  # fmt: skip
    units = [unit.id for unit in site.units]
    events = run(RulesEngine(site), steady(units, 0, 600) + steady(units[4:], 610, 3600) + [good("v00", 9000)])
    assert told(events) == [
        (735, "raised", "w", "readings-absent"),
        (3735, "cleared", "w", "readings-absent"),
        (3735, "raised", "w", "readings-absent"),
    ]
    assert events[2].evidence["units"] == units


def test_a_unit_in_use_that_joins_makes_the_event_the_ward_s() -> None:
    engine = RulesEngine(SITE)
    off = [Reading(u, at(s), 21.0, 0.0, 0.0, volts=230.0) for u in ("u1", "u2", "u3") for s in range(0, 601, 10)]
    events = run(engine, off + steady(["u4"], 0, 700) + steady(["u5", "u6"], 0, 900))
    assert [(e.event, e.priority, e.audience) for e in events] == [
        ("raised", "low", ("engineer",)),
        ("updated", "medium", ("ward", "engineer")),
    ]


def test_a_restart_while_a_silence_waits_loses_nothing() -> None:
    first, second = RulesEngine(SITE), RulesEngine(SITE)
    run(first, steady(UNITS, 0, 600) + steady(["u5", "u6"], 610, 725))
    second.restore(copy.deepcopy(list(first.rows(UNITS))))
    assert told(run(second, steady(["u5", "u6"], 730, 900))) == [(735, "raised", "big", "readings-absent")]


def test_silent_units_that_are_moved_are_told_anew_with_their_new_ward() -> None:
    first = RulesEngine(SITE)
    run(first, steady(UNITS, 0, 600) + steady(["u5", "u6"], 610, 900))
    assert first.ward_stands("big", "readings-absent")
    moved = RulesEngine(parse_site('[facility]\nid="sim-shared"\n[[ward]]\nid="big"\n[[ward]]\nid="small"\n' + "".join(
        f'[[unit]]\nid="{u}"\nward="small"\n' for u in UNITS)))  # fmt: skip
    moved.restore(copy.deepcopy(list(first.rows(UNITS))))
    assert not moved.ward_stands("big", "readings-absent")
    assert not moved.ward_stands("small", "readings-absent")
    assert told(run(moved, steady(["u5", "u6"], 910, 1000))) == [(735, "raised", "small", "readings-absent")]


gaps = st.lists(
    st.tuples(
        st.sampled_from(UNITS), st.integers(1, 120), st.integers(1, 60), st.sampled_from(["gap", "sag", "off", "step"])
    ),
    max_size=14,
)


def story(spells: list[tuple[str, int, int, str]], every_s: int) -> list[Reading]:
    """An hour and a half of readings with gaps, sags, steps and stops, and then half an hour in which all is well."""
    found = []
    for number, unit in enumerate(UNITS):
        for second in range(number, 7200, every_s):
            kinds = {what for u, first, length, what in spells if u == unit and first <= second / 30 < first + length}
            if "gap" not in kinds:
                running = (90.0 if "step" in kinds else 93.0, 4.0, 340.0)
                purity, flow, power = (21.0, 0.0, 0.0) if "off" in kinds else running
                volts = 200.0 if "sag" in kinds else 230.0
                found.append(Reading(unit, at(second), purity, flow, power, volts=volts))
    return found


def check_told_once(events: list[Event]) -> set[tuple[str, str, str]]:
    standing: set[tuple[str, str, str]] = set()
    for event in events:
        if event.event == "raised":
            assert event.key not in standing, event
            assert event.action
            standing.add(event.key)
        else:
            assert event.key in standing, event
            if event.event == "cleared":
                standing.discard(event.key)
            named = event.evidence.get("units")
            assert named is None or (isinstance(named, list) and named == sorted(set(named)))
    return standing


@settings(max_examples=60, deadline=None)
@given(gaps, st.sampled_from([10, 20, 60]))
def test_any_gaps_and_sags_are_told_once_and_ended_when_all_is_back(
    spells: list[tuple[str, int, int, str]], every_s: int
) -> None:
    left = check_told_once(run(RulesEngine(SITE), story(spells, every_s)))
    assert {key for key in left if not key[0] or key[2] in ("readings-absent", "supply-poor")} == set()


@settings(max_examples=40, deadline=None)
@given(gaps, st.integers(0, 7200), st.sampled_from([10, 60]))
def test_a_restart_anywhere_tells_the_same(spells: list[tuple[str, int, int, str]], cut_s: int, every_s: int) -> None:
    readings = story(spells, every_s)
    expected = run(RulesEngine(SITE), readings)
    first, second = RulesEngine(SITE), RulesEngine(SITE)
    events = run(first, [r for r in readings if r.time_ms < at(cut_s)])
    second.restore(copy.deepcopy(list(first.rows(UNITS))), list(first.estimates(UNITS)))
    events += run(second, [r for r in readings if r.time_ms >= at(cut_s)])
    assert sorted(told(events)) == sorted(told(expected))


@settings(max_examples=40, deadline=None)
@given(gaps, st.sampled_from([2, 30, 130]), st.sampled_from([10, 60]))
def test_ticks_that_come_late_and_behind_the_readings_say_the_same(
    spells: list[tuple[str, int, int, str]], lag_s: int, every_s: int
) -> None:
    """Live the readings of a batch come first, and the tick stays behind them."""
    readings = story(spells, every_s)
    expected = run(RulesEngine(SITE), readings)
    engine, events = RulesEngine(SITE), []
    for number, r in enumerate(sorted(readings, key=lambda r: (r.time_ms, r.unit))):
        events += engine.read(r, r.time_ms)
        if number % 5 == 0:
            events += engine.tick(r.time_ms - lag_s * SECOND)
    events += engine.tick(max(r.time_ms for r in readings))
    assert sorted(map(repr, events)) == sorted(map(repr, expected))
