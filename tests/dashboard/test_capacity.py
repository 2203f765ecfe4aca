"""The capacity panel and what the board says of capacity: seen, unseen, falling, failed, old, none."""

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as some

from collector.rules.catalogue import CAUSES
from collector.rules.unitrow import PHASES, UnitRow
from dashboard import capacity_words, guide, words
from dashboard.board import Look, board_of
from dashboard.capacity import holds_text, panel_of, trend_text
from dashboard.figures import alarm_html
from dashboard.panel import panel_html
from dashboard.tiles import tile_html
from tests.dashboard import estimates as made
from tests.dashboard.test_board import EVIL, NOW, SITE, alarm, now_of, row, tile

MINUTE = 60_000
MODEL = now_of().model_of("u1")


def panel(capacity, stale=False, now_ms=NOW, **fields):
    one = made.with_capacity(row(flow_lpm=4.0, proven_lpm=4.0, proven_ms=NOW), capacity, **fields)
    known = now_of([one])
    return panel_of(one, known.model_of("u1"), known, now_ms, stale=stale)


def test_a_unit_that_does_what_it_should():
    said = panel(made.seen(NOW))
    assert said.head == "Good for its rated 5 L/min."
    assert said.lines == ("At 4.0 L/min, as now: no limit within 30 days, as far as can be seen.",)
    assert dict(said.figures) == {"Capacity": "5.6 to 6.5 L/min", "Most likely": "6.0 L/min", "Trend": "steady",
                                  "Rated": "5 L/min", "Proven, 17:13": "4.0 L/min"}  # fmt: skip
    assert (said.cause, said.table, said.greyed, said.short) == ("", (), False, False)


def test_a_falling_unit_says_what_it_is_good_for_when_and_why():
    said = panel(made.falling(NOW))
    assert said.head == "Good for up to 2.5 L/min of its rated 5."
    assert said.lines == (
        "It will not hold the 4.0 L/min in use.",
        "At 4.0 L/min, as now: amber in 3 to 9 h, red in 5 to 14 h, switch-off in 8 to 20 h.",
    )
    assert (said.cause, said.why[1]) == ("wet sieve", "Power is as usual (341 W of 350 W).")
    assert said.table == (
        ("4.0 L/min, as now", "3 to 9 h", "5 to 14 h", "8 to 20 h"),
        ("4.5 L/min", "10 to 50 min", "70 min to 3 h", "3 h or later"),
        ("5.0 L/min", "reached", "2 to 55 min", "90 min to 4 h"),
    )
    assert said.short


def test_a_unit_that_would_fail_if_it_were_turned_up_says_so():
    said = panel(made.falling(NOW, good_to_lpm=2.99, outlook=made.outlook(2.0)), flow_lpm=2.0)
    assert said.head == "Good for up to 2.5 L/min of its rated 5."
    assert said.lines[0] == "Do not turn it up: change over first."


def test_a_forecast_for_the_flow_before_a_step_says_so():
    said = panel(made.falling(NOW), flow_lpm=2.0)
    assert said.lines[0] == "Do not turn it up: change over first."
    assert said.lines[1].startswith("At 4.0 L/min, as before the flow was changed: amber in 3 to 9 h")
    assert said.table[0][0] == "4.0 L/min, as before the flow was changed"


def test_at_low_flow_it_says_that_nothing_can_be_seen_and_what_was_proven():
    said = panel(made.unseen(NOW), flow_lpm=1.0, proven_lpm=2.0, proven_ms=NOW - 18 * 24 * 60 * MINUTE)
    assert said.head == "Proven to 2.0 L/min, 3 Sep 17:13; above that nothing is known."
    assert said.lines[0].startswith("Capacity cannot be seen at 1.0 L/min")
    assert "Check it at rated flow with a calibrated analyser." in said.lines[0]
    assert said.figures[0] == ("Capacity", "above 1.5 L/min")
    assert "Good" not in f"{said.head}{said.lines}"


def test_a_unit_of_which_nothing_is_proven_either():
    assert panel(made.unseen(NOW), proven_lpm=None).head == "No flow proven."


def test_a_failed_unit():
    said = panel(made.failed(NOW), flow_lpm=2.0)
    assert said.head == "Holds no flow at acceptable purity: do not use it."
    assert said.lines[-1] == "At 2.0 L/min, as now: amber reached, red reached, switch-off within 6 min."
    assert ("Trend", "falls 3.3 %/min") in said.figures


@pytest.mark.parametrize(
    ("fall", "text"),
    [(0.0, "steady"), (0.4, "falls 0.4 %/day"), (-1.23, "rises 1.2 %/day"), (240.0, "falls 10 %/h"),
     (99.4, "falls 99 %/day"), (99.7, "falls 4.2 %/h"), (2400, "falls 1.7 %/min"), (10**6, "falls over 100 %/min")],
)  # fmt: skip
def test_a_trend_is_told_in_the_time_in_which_it_can_be_pictured(fall, text):
    assert trend_text(fall) == text


# -- what is old ---------------------------------------------------------------------------------------------------


def test_a_silent_unit_s_capacity_is_of_then_and_its_forecast_by_the_clock():
    said = panel(made.falling(NOW - 20 * MINUTE), stale=True, phase="silent")
    assert said.greyed
    assert said.head == "As of 16:53, not now: good for up to 2.5 L/min of its rated 5."
    assert said.lines == (
        "At 4.0 L/min it was expected to reach amber between 20:03 and 22 Sep 01:43, red between 22:03 and 22 Sep "
        "06:43, switch-off between 22 Sep 01:13 and 12:03.",
        "Nobody can say from here how it is now: look at the unit itself.",
    )
    assert said.table == ()


def test_a_unit_that_is_off_says_since_when():
    said = panel(made.seen(NOW - 50 * MINUTE), phase="off", phase_since_ms=NOW - 50 * MINUTE)
    assert (said.greyed, said.lines) == (True, ("The unit has been off since 16:23.",))
    assert said.head.startswith("As of 16:23, not now:")


@pytest.mark.parametrize(
    "fields", [{"phase": "warming-up"}, {"purity_pct": None}, {"flow_lpm": None}, {"now_ms": NOW + 50 * MINUTE}]
)
def test_an_estimate_that_is_not_renewed_is_old_though_readings_come(fields):
    said = panel(made.seen(NOW), **fields)
    assert said.greyed
    assert said.lines[0].startswith("Not renewed since 17:13")


@given(
    capacity=some.sampled_from([made.seen, made.falling, made.unseen, made.failed]), phase=some.sampled_from(PHASES),
    age_ms=some.integers(0, 10**10), stale=some.booleans(), purity=some.sampled_from([None, 21.0, 94.0]),
)  # fmt: skip
def test_what_is_old_is_never_said_as_of_now(capacity, phase, age_ms, stale, purity):
    said = panel(capacity(NOW - age_ms), stale, phase=phase, purity_pct=purity)
    if stale or phase != "running" or purity is None or age_ms > 31 * MINUTE:
        assert said.greyed
        assert said.head.startswith("As of ")
        assert said.table == ()
        assert "as now" not in panel_html(said)
        assert "sw-panel sw-greyed" in panel_html(said)
    else:
        assert not said.greyed


def test_nothing_is_known_of_a_unit_that_was_never_heard():
    known = now_of()
    said = panel_of(None, MODEL, known, NOW, stale=True)
    assert (said.head, said.lines, said.greyed) == (capacity_words.CAPACITY_PLACE, ("No flow proven.",), True)
    fresh = panel_of(row(proven_lpm=3.0, proven_ms=NOW), MODEL, known, NOW, stale=False)
    assert fresh.lines == ("Proven to 3.0 L/min, 17:13.",)


def test_every_cause_has_words():
    assert set(words.CAUSE_TITLES) == set(CAUSES)


def test_the_panel_is_escaped_and_never_without_its_caution():
    said = panel(made.falling(NOW, cause=EVIL, why=(EVIL,)))
    drawn = panel_html(said._replace(head=EVIL, lines=(EVIL,), figures=((EVIL, EVIL),), note=EVIL))
    assert "<script" not in drawn
    assert "Never turn a flow up on the strength of this table" in drawn
    assert "Never turn" not in panel_html(panel(made.seen(NOW)))  # there is no table to be misread


def test_the_help_says_what_it_cannot_say_and_where_it_comes_from():
    text = " ".join(guide.CAPACITY_HELP)
    for part in ("low flow", "valve", "analyser", "Technometrics 2010;52:52", "simulated units", "nine chances in ten"):
        assert part in text, part


# -- the board -----------------------------------------------------------------------------------------------------


def held(capacity, **fields):
    return tile([made.with_capacity(row(proven_lpm=4.0, proven_ms=NOW), capacity, **fields)])


def test_a_unit_that_holds_less_than_rated_says_so_on_its_tile():
    shown = held(made.falling(NOW), flow_lpm=2.0)
    assert (shown.look, shown.holds, shown.proven) == (Look.RUNNING, "good to 2.5 L/min; do not turn up", "")
    assert 'sw-holds">good to 2.5 L/min; do not turn up<' in tile_html(shown)
    assert held(made.falling(NOW), flow_lpm=4.0).holds == "good to 2.5 L/min only"
    assert held(made.failed(NOW)).holds == "holds no flow"


@pytest.mark.parametrize("capacity", [made.seen(NOW), made.unseen(NOW), made.seen(NOW, good_to_lpm=4.8)])
def test_a_unit_that_is_not_known_to_hold_less_says_what_is_proven(capacity):
    shown = held(capacity)
    assert (shown.holds, shown.proven) == ("", "proven to 4.0 L/min")


def test_a_silent_unit_is_good_to_nothing_on_its_tile():
    shown = tile([made.with_capacity(row(phase="silent", age_s=900), made.falling(NOW))])
    assert (shown.greyed, shown.holds) == (True, "was good to 2.5 L/min only")
    assert holds_text(made.with_capacity(row(), made.seen(NOW)), MODEL, now_of(), NOW, stale=True) == ""


@pytest.mark.parametrize("phase", ["off", "warming-up"])
def test_a_unit_that_has_stopped_was_good_to_so_much_and_nothing_more_is_expected_of_it(phase):
    stopped = made.with_capacity(row(phase=phase), made.falling(NOW))
    assert tile([stopped]).holds == "was good to 2.5 L/min only"
    shown = tile([stopped], [alarm(condition="purity-shutdown"), made.foretold(NOW, priority="high")])
    assert (shown.word, shown.note) == ("Unit has switched itself off", "and 1 more alarm")
    assert "expected between" not in alarm_html(made.foretold(NOW), now_of([stopped]), NOW)


def test_when_output_will_be_very_low_is_noted_until_it_is():
    shown = tile([row(purity_pct=84.0)], [made.foretold(NOW)])
    assert (shown.word, shown.note) == ("Shut-off expected in 20 to 50 min", "Under 82 % in 9 to 30 min")
    assert tile([row(purity_pct=81.0)], [made.foretold(NOW)]).note == ""
    assert tile([row(purity_pct=84.0, phase="silent", age_s=900)], [made.foretold(NOW)]).note == ""


def test_a_shut_off_that_is_expected_is_told_with_its_range():
    shown = tile([row()], [made.foretold(NOW)])
    assert (shown.look, shown.word) == (Look.MEDIUM, "Shut-off expected in 20 to 50 min")
    later = tile([row()], [made.foretold(NOW - 15 * MINUTE)])
    assert later.word == "Shut-off expected in 5 to 35 min"


def test_the_unit_s_own_forecast_is_told_when_it_is_later_than_the_alarm_s():
    newer = made.falling(NOW, outlook=made.outlook(4.0, (0, 0, 0), (0, 0, 0), (3.0, 6.0, 9.0)))
    shown = tile([made.with_capacity(row(), newer)], [made.foretold(NOW - MINUTE)])
    assert shown.word == "Shut-off expected in 3 to 9 min"
    older = msgspec.structs.replace(newer, at_ms=NOW - MINUTE)
    assert tile([made.with_capacity(row(), older)], [made.foretold(NOW)]).word == "Shut-off expected in 20 to 50 min"


def test_where_no_switch_off_is_foreseen_very_low_output_is():
    shown = tile([row()], [made.foretold(NOW, shutdown=made.NEVER)])
    assert shown.word == "Very low output expected in 9 to 30 min"
    assert tile([row()], [msgspec.structs.replace(made.foretold(NOW), forecast=None)]).word == "Shut-off expected"


def test_a_worse_alarm_keeps_the_word_and_the_time_that_is_left_is_noted():
    shown = tile([row()], [made.foretold(NOW, priority="high"), alarm(), alarm(condition="flow-above-rated")])
    assert shown.word == "Flow above rated"
    assert shown.note == "Under 82 % in 9 to 30 min; Shut-off expected in 20 to 50 min; and 1 more alarm"


def test_what_is_there_comes_before_what_is_to_come():
    shown = tile([row()], [made.foretold(NOW - 5 * MINUTE, priority="high"), alarm()])
    assert shown.word == "Unit output very low"


def test_a_silent_unit_s_shut_off_is_told_by_the_clock():
    shown = tile([row(phase="silent", age_s=900)], [made.foretold(NOW - 16 * MINUTE)])
    assert shown.word == "Shut-off expected between 17:17 and 17:47"
    line = alarm_html(made.foretold(NOW), now_of([row()]), NOW)
    assert "Shut-off expected between 17:33 and 18:03." in line


def test_a_falling_unit_whose_instruction_says_it_already_says_it_once():
    falls = alarm(condition="capacity-falling", priority="low", action="Good to 2.5 L/min: do not turn up.")
    shown = tile([made.with_capacity(row(), made.falling(NOW))], [falls])
    assert (shown.holds, shown.action) == ("", "Good to 2.5 L/min: do not turn up.")


def test_a_unit_of_another_site_has_the_default_model():
    known = msgspec.structs.replace(now_of([UnitRow(unit="gone")]), site=None)
    assert known.model_of("gone").rated_flow_lpm == 5.0
    assert "u1" in SITE
    assert board_of(known, NOW, NOW).wards[0].tiles[0].unit == "gone"
