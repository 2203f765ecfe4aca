"""The board's tiles: what they say, and that old or unknown values never look good."""

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as some

from collector.clock import ManualClock
from collector.rules.alarms import Alarm
from collector.rules.lifecycle import State
from collector.rules.unitrow import PHASES, UnitRow
from collector.site import parse_site
from dashboard.board import Look, board_of, tile_of
from dashboard.freshness import banners, is_stale
from dashboard.queries import CollectorNow, Now
from dashboard.tiles import board_html, strip_html, tile_html, top_html

NOW = 1_790_000_000_000
SITE = """
[facility]
id = "sim-x"
timezone = "Africa/Nairobi"
[[ward]]
id = "east"
name = "East <b>wing</b>"
[[ward]]
id = "west"
[[unit]]
id = "u1"
ward = "east"
[[unit]]
id = "u2"
ward = "east"
[[unit]]
id = "u3"
ward = "west"
"""


def row(unit="u1", age_s=5, **values):
    return UnitRow(
        unit=unit, last_ms=NOW - age_s * 1000, **{"phase": "running", "purity_pct": 93.4, "flow_lpm": 2.0, **values}
    )


def now_of(rows=(), alarms=(), heard_s=1, speed=1.0, removed=(), **status):
    heard: dict[str, Any] = {
        "at_ms": NOW - int(heard_s * 1000 * speed),
        "wall_ms": NOW - int(heard_s * 1000),
        "broker_state": "connected",
    }
    return Now(
        facility="sim-x", site=parse_site(SITE), clock=ManualClock(NOW, speed), units={one.unit: one for one in rows},
        alarms=tuple(alarms), collector=CollectorNow(**heard | status), out_of_service=frozenset(removed),
    )  # fmt: skip


def alarm(unit="u1", condition="purity-red", state=State.UNACKNOWLEDGED, **fields):
    usual: dict[str, Any] = {"ward": "east", "active": True, "priority": "high", "audience": ("ward", "engineer"),
             "action": "Change over now.", "raised_ms": NOW - 60_000}  # fmt: skip
    return Alarm(unit=unit, condition=condition, state=state, **usual | fields)


def tile(rows=(), alarms=(), unit="u1", lives=True, **more):
    return tile_of(unit, now_of(rows, alarms, **more), alarms, NOW, lives)


def test_a_running_unit_says_so():
    shown = tile([row(proven_lpm=4.0, proven_ms=NOW)])
    assert (shown.look, shown.word, shown.purity, shown.flow) == (Look.RUNNING, "Running", "93.4", "2.0")
    assert (shown.age, shown.proven, shown.greyed) == ("5 s", "proven to 4.0 L/min", False)


@pytest.mark.parametrize(
    ("unit_row", "lives"),
    [
        (None, True),
        (UnitRow(unit="u1"), True),
        (row(phase="silent", age_s=130), True),
        (row(age_s=126), True),  # nobody has called it silent yet
        (row(age_s=1), False),  # the collector is lost: nothing it stored is of now
    ],
)
def test_old_values_are_greyed_and_never_called_running(unit_row, lives):
    shown = tile([unit_row] if unit_row else [], lives=lives)
    assert shown.greyed
    assert shown.look == Look.STALE
    assert shown.word.startswith("No data")
    assert "sw-greyed" in tile_html(shown)


def test_no_data_since_is_said_in_the_facility_s_time():
    assert tile([row(phase="silent", age_s=600)]).word == "No data since 17:03"  # 14:03 UTC in Nairobi


@given(
    phase=some.sampled_from(PHASES),
    age_s=some.integers(-500, 10_000),
    heard_s=some.integers(-100, 100),
    state=some.sampled_from(list(State)),
    active=some.booleans(),
    purity=some.one_of(some.none(), some.floats(0, 100)),
    speed=some.sampled_from([1.0, 60.0]),
)
def test_whatever_is_stored_only_a_fresh_running_unit_without_alarm_looks_well(
    phase, age_s, heard_s, state, active, purity, speed
):
    known = now_of(
        [row(phase=phase, age_s=age_s, purity_pct=purity)], [alarm(state=state, active=active)], heard_s, speed
    )
    shown = board_of(known, NOW, NOW).wards[0].tiles
    tile_1 = next(one for one in shown if one.unit == "u1")
    well = phase == "running" and purity is not None and abs(heard_s) <= 15 and age_s <= 120 + 5 * speed
    if tile_1.look == Look.RUNNING:
        assert well
        assert not (active and state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED))
        assert not (active and state in (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE))
        assert state != State.RETURNED
    assert not board_of(known, NOW, NOW).calm  # u2 and u3 were never heard


def test_an_alarm_gives_look_word_and_what_to_do():
    shown = tile([row(purity_pct=80.1)], [alarm(), alarm(condition="purity-amber", priority="medium")])
    assert (shown.look, shown.word, shown.action, shown.note) == (
        Look.HIGH, "Unit output very low", "Change over now.", "and 1 more alarm",
    )  # fmt: skip
    assert shown.unheard


def test_an_acknowledged_alarm_says_who_and_no_longer_flashes():
    known = alarm(state=State.ACKNOWLEDGED, acked_by="N. Example", acked_role="ward", acked_ms=NOW - 1000)
    shown = tile([row()], [known])
    assert shown.acknowledged == "Acknowledged: N. Example (ward), 17:13"
    assert "sw-unheard" not in tile_html(shown)


def test_a_silent_unit_keeps_its_alarm_and_its_values_are_greyed():
    shown = tile([row(phase="silent", age_s=900)], [alarm()])
    assert (shown.look, shown.greyed, shown.age) == (Look.HIGH, True, "No data since 16:58")


def test_an_alarm_put_aside_is_not_shown_as_all_well():
    shown = tile([row()], [alarm(state=State.SHELVED, shelved_until_ms=NOW + 3_600_000)])
    assert (shown.look, shown.word, shown.note) == (Look.HELD, "Alarm put aside", "Unit output very low, until 18:13")


def test_an_alarm_that_went_away_unseen_is_still_told():
    shown = tile([row()], [alarm(state=State.RETURNED, active=False)])
    assert (shown.look, shown.word) == (Look.EARLIER, "Running")
    assert shown.note == "Unit output very low: was there, not acknowledged"


def test_purity_that_is_not_measured_is_not_running_well():
    shown = tile([row(purity_pct=None)])
    assert (shown.look, shown.word, shown.purity) == (Look.STALE, "Runs, purity not measured", "–")


def test_an_instruction_for_others_names_them():
    assert (
        tile([row()], [alarm(audience=("engineer",), action="Look at it.")]).action == "For the engineer: Look at it."
    )


def test_worst_first_within_a_ward_and_the_others_stay_in_place():
    rows = [row("u1"), row("u2"), row("u3")]
    board = board_of(now_of(rows, [alarm("u2", priority="low")]), NOW, NOW)
    assert [[one.unit for one in ward.tiles] for ward in board.wards] == [["u2", "u1"], ["u3"]]
    calm = board_of(now_of(rows), NOW, NOW)
    assert [one.unit for one in calm.wards[0].tiles] == ["u1", "u2"]
    assert (calm.calm, calm.summary, calm.counts) == (True, "Nothing needs attention.", "3 running")


def test_a_ward_s_alarm_stands_over_the_ward_and_colours_its_units():
    cut = alarm("", "ward-supply-lost", ward="east", evidence={"units": ["u1"]}, action="Change over to cylinders now.")
    board = board_of(now_of([row("u1", phase="off"), row("u2"), row("u3")], [cut]), NOW, NOW)
    east = board.wards[0]
    assert [notice.title for notice in east.notices] == ["No power in the ward"]
    assert [(one.unit, one.look) for one in east.tiles] == [("u1", Look.HIGH), ("u2", Look.RUNNING)]
    assert board.summary == "1 to attend to: 1 high"
    assert board_html(board, None).count("Change over to cylinders now.") == 1


def test_units_that_fell_silent_together_say_so_each_until_it_is_heard_again():
    silence = alarm("", "readings-absent", ward="east", priority="medium", action="No readings from 2 units.",
                    evidence={"units": ["u1", "u2"], "bridge": "east-1"})  # fmt: skip
    sag = alarm("", "supply-poor", ward="east", priority="low", evidence={"units": ["u1"]}, action="Watch it.")
    rows = [row("u1", phase="silent", age_s=600), row("u2"), row("u3")]
    board = board_of(now_of(rows, [silence, sag]), NOW, NOW)
    silent, back = board.wards[0].tiles
    assert (silent.unit, silent.look, silent.word, silent.greyed) == ("u1", Look.MEDIUM, "No readings", True)
    assert (silent.age, silent.note) == ("No data since 17:03", "and 1 more alarm")
    assert (back.unit, back.look, back.word) == ("u2", Look.RUNNING, "Running")
    assert [notice.title for notice in board.wards[0].notices] == ["No readings", "Poor supply"]
    assert board_html(board, None).count("No readings from 2 units. The link of east-1 went at that time.") == 1


def test_out_of_service_units_make_no_noise():
    shown = tile([row(phase="silent")], [alarm(state=State.OUT_OF_SERVICE)], removed=("u1",))
    assert (shown.look, shown.word) == (Look.UNUSED, "Out of service")


EVIL = '"><script>alert(1)</script>'


def test_everything_from_outside_is_escaped():
    shown = tile([row()], [alarm(action=EVIL, acked_by=EVIL, state=State.ACKNOWLEDGED)])
    shown = shown._replace(unit=EVIL, word=EVIL, proven=EVIL, note=EVIL, purity=EVIL, flow=EVIL, age=EVIL)
    assert "<script" not in tile_html(shown)
    assert "<script" not in tile_html(shown._replace(greyed=True, action="", age=f"{EVIL}2"))
    known = msgspec.structs.replace(now_of([row()], [alarm("", evidence={}, action=EVIL)], broker_state="refused",
                                           broker_said=EVIL, broker=EVIL), facility=EVIL, site=None)  # fmt: skip
    made = strip_html(known, banners(known, NOW), NOW, NOW) + top_html(known, NOW, [(EVIL, EVIL), ("b", EVIL)], EVIL)
    made += board_html(board_of(now_of([row()], [alarm("", evidence={}, action=EVIL)]), NOW, NOW), None)
    assert "<script" not in made
    assert "East &lt;b&gt;wing" in made


def test_state_never_rests_on_colour_alone():
    """Each look has a shape class of its own and a word."""
    looks = {look: tile_html(tile([row()])._replace(look=look)) for look in Look}
    assert all(f"sw-mark-{look}" in made for look, made in looks.items())


def test_fast_clocks_get_more_slack_since_a_wall_second_is_a_minute_of_theirs():
    known = now_of([row()], speed=60.0)
    assert not is_stale(row(age_s=300), known, NOW, lives=True)
    assert is_stale(row(age_s=421), known, NOW, lives=True)


def test_what_is_left_over_is_said_and_every_unit_is_counted():
    gone = alarm(state=State.RETURNED, active=False)
    board = board_of(now_of([row("u1"), row("u2", phase="off"), row("u3")], [gone]), NOW, NOW)
    assert board.summary == "No alarm now; some are put aside or were not acknowledged."
    assert (board.counts, board.calm) == ("2 running · 1 off", False)
    doubt = board_of(now_of([row("u1"), row("u2")]), NOW, NOW)
    assert (doubt.summary, doubt.counts) == (
        "No alarm, but not every unit can be judged.",
        "2 running · 1 without data",
    )


def test_what_is_due_is_a_note_and_alarms_no_ward():
    due = [alarm(condition="service-due", priority="low"), alarm(condition="verification-due", priority="low")]
    board = board_of(now_of([row("u1"), row("u2"), row("u3")], due), NOW, NOW)
    tile = board.wards[0].tiles[0]
    assert (tile.look, tile.note) == (Look.RUNNING, "Service due; Check due")
    assert (board.calm, board.summary) == (True, "Nothing needs attention.")
    worse = board_of(now_of([row("u1")], [*due, alarm()]), NOW, NOW).wards[0].tiles[0]
    assert (worse.look, worse.note) == (Look.HIGH, "")


def test_a_ward_with_an_alarm_is_marked_where_wards_are_chosen():
    rows = [row("u1"), row("u2"), row("u3")]
    known = now_of(rows, [alarm("u1", priority="low"), alarm("u2"), alarm("u3", ward="west", priority="medium")])
    made = top_html(known, NOW, [("east", "East"), ("west", "West")], "east")
    assert [made.count(f"sw-mark-{look}") for look in ("high", "medium", "low")] == [1, 1, 0]
