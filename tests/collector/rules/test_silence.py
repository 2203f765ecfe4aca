"""Silence is a state with a deadline: raised once, and not ended by what is old."""

from collector.reading import Reading
from collector.rules.engine import RulesEngine
from tests.scenario_files import START_MS, scenario_site

MINUTE = 60_000
HOUR = 60 * MINUTE


def reading(at_ms: int) -> Reading:
    return Reading("m1", START_MS + at_ms, 93.0, 4.0, 340.0, volts=230.0)


def engine_with_m1() -> RulesEngine:
    engine = RulesEngine(scenario_site())
    engine.read(reading(0), START_MS)
    return engine


def of_m1(events: list) -> list[tuple[str, int]]:
    return [
        (e.event, (e.time_ms - START_MS) // MINUTE)
        for e in events
        if (e.unit, e.condition) == ("m1", "readings-absent")
    ]


def test_a_backlog_read_oldest_first_does_not_flap() -> None:
    """A bridge that was cut off for three hours sends what it kept: one raise, one clear."""
    engine = engine_with_m1()
    now_ms = START_MS + 3 * HOUR
    said = of_m1(engine.tick(now_ms))
    for minute in range(1, 181):
        said += of_m1(engine.read(reading(minute * MINUTE), now_ms))
        said += of_m1(engine.tick(now_ms - 2_000))
    assert said == [("raised", 2), ("cleared", 178)]


def test_silence_is_found_again_after_a_backlog() -> None:
    engine = engine_with_m1()
    now_ms = START_MS + 3 * HOUR
    engine.tick(now_ms)
    engine.read(reading(3 * HOUR - MINUTE), now_ms)
    assert of_m1(engine.tick(now_ms + 10 * MINUTE)) == [("raised", 181)]


def test_silence_is_found_again_after_a_restart_in_the_middle_of_a_backlog() -> None:
    engine = engine_with_m1()
    now_ms = START_MS + 3 * HOUR
    engine.tick(now_ms)
    engine.read(reading(HOUR), now_ms)
    again = RulesEngine(scenario_site())
    again.restore(list(engine.rows(["m1"])))
    again.tick(now_ms)
    said = of_m1(again.read(reading(3 * HOUR), now_ms)) + of_m1(again.tick(now_ms + HOUR))
    assert said == [("cleared", 180), ("raised", 182)]


def test_a_clock_that_ran_ahead_and_was_set_back_holds_no_silence_up() -> None:
    """The batch that comes right after ends it, although no tick has come since from the clock that is right again."""
    engine = engine_with_m1()
    said = of_m1(engine.tick(START_MS + HOUR))
    said += of_m1(engine.read(reading(4 * MINUTE), START_MS + 4 * MINUTE))
    said += of_m1(engine.tick(START_MS + 7 * MINUTE))
    assert said == [("raised", 2), ("cleared", 4), ("raised", 6)]


def test_a_unit_that_never_reports_is_told_once() -> None:
    engine = engine_with_m1()
    events = engine.tick(START_MS + 5 * HOUR) + engine.tick(START_MS + 9 * HOUR)
    assert [e.event for e in events if e.unit == "m2"] == ["raised"]


def test_an_analyser_that_died_leaves_no_good_value_behind() -> None:
    """Power and flow go on being read: purity must not stand at its last good value, and the engineer is told."""
    engine = engine_with_m1()
    said = []
    for step in range(1, 61):
        at_ms = START_MS + step * 10_000
        said += engine.read(Reading("m1", at_ms, None, 4.0, 340.0, volts=230.0), at_ms)
    (row,) = engine.rows(["m1"])
    assert (row.purity_pct, row.flow_lpm) == (None, 4.0)
    assert [(e.event, e.condition, e.audience) for e in said] == [("raised", "sensor-suspect", ("engineer",))]


def test_after_a_time_of_hearing_nothing_what_is_live_may_come_before_what_was_kept() -> None:
    """A broker that was away for a day: bridges send what is so now at once, what they kept comes late."""
    engine = engine_with_m1()
    engine.read(Reading("m2", START_MS, 93.0, 4.0, 340.0, volts=230.0), START_MS)
    now_ms = START_MS + 24 * HOUR
    engine.note_blind(now_ms)
    said = engine.read(reading(24 * HOUR), now_ms) + engine.tick(now_ms + MINUTE)
    for minute in range(1, 24 * 60):
        said += engine.read(reading(minute * MINUTE), now_ms)
    assert [e for e in said if e.condition == "readings-absent" and e.unit in ("m1", "m2")] == []
    assert engine.late == 24 * 60 - 1


def test_a_unit_that_does_not_come_back_is_told_counted_from_the_return() -> None:
    engine = engine_with_m1()
    now_ms = START_MS + 24 * HOUR
    engine.note_blind(now_ms)
    assert of_m1(engine.tick(now_ms + 119_000)) == []
    assert of_m1(engine.tick(now_ms + 10 * MINUTE)) == [("raised", 24 * 60 + 2)]


def fall_of_m1(away: range) -> list[tuple[str, str, int]]:
    """What is told of a unit that falls and recovers, when its bridge keeps the readings of these steps to itself."""
    engine, kept, told = RulesEngine(scenario_site()), [], []
    for step in range(480):
        at_ms = START_MS + step * 5_000
        purity_pct = max(93.0 - (step - 120) * 0.28, 76.2) if 120 <= step < 220 else 93.0
        kept.append(Reading("m1", at_ms, purity_pct, 4.0, 340.0, volts=230.0))
        if step not in away:
            told += [event for one in kept for event in engine.read(one, at_ms)]
            kept.clear()
        told += engine.tick(at_ms - 2_000)
    return [(e.condition, e.event, e.time_ms) for e in told if e.unit == "m1"]


def test_a_fall_that_was_kept_while_a_bridge_was_away_is_judged_as_if_it_had_been_there() -> None:
    """Its first reading after the silence is low, and still it was not started anew: what lies between came too."""
    meant = fall_of_m1(range(0))
    found = fall_of_m1(range(110, 170))
    assert {name for name, _, _ in found} - {name for name, _, _ in meant} == {"readings-absent"}
    assert [row for row in found if row[0] != "readings-absent"] == meant
    assert "purity-red" in {name for name, _, _ in meant}
