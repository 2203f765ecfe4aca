"""What is sent when, and to whom: tables of what happens over time and what goes out."""

from itertools import pairwise

import pytest

from collector.messages.happenings import COLLECTOR_LOST, Lost, what_is_lost
from collector.messages.plan import ENDS
from collector.rules import entries
from collector.rules.limits import HOUR, MINUTE
from tests.collector.messages.world import NOON_MS, WAYS, World


@pytest.fixture
def world():
    return World()


def ways_and_minutes(sent):
    return [(way, round(minute, 2)) for minute, way, _ in sent]


# -- escalation ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("condition", "unit", "ward", "expected"),
    [
        ("purity-red", "u01", "newborn", [("newborn-phone", 0), ("engineer", 3), ("on-call", 10)]),
        ("purity-amber", "u01", "newborn", [("newborn-phone", 0), ("engineer", 10)]),
        ("flow-absent", "u01", "newborn", [("newborn-phone", 0), ("engineer", 3), ("on-call", 10)]),
        ("readings-absent", "u01", "newborn", [("engineer", 0)]),
        ("purity-red", "u31", "childrens", [("engineer", 0), ("on-call", 3)]),  # its ward has no phone
        ("capacity-falling", "u01", "newborn", [("engineer", 0), ("planner", 0)]),
        ("flow-above-rated", "u01", "newborn", []),  # low, for the ward: its screen shows it, no phone rings
    ],
)
def test_each_step_is_told_after_its_delay(world, condition, unit, ward, expected):
    world.raised(condition, unit, ward)
    assert ways_and_minutes(world.until(60)) == expected


@pytest.mark.parametrize("kind", [entries.ACKNOWLEDGE, entries.SHELVE, entries.OUT_OF_SERVICE, "cleared"])
def test_nobody_else_is_told_once_it_is_answered_or_over(world, kind):
    world.raised("purity-red")
    assert ways_and_minutes(world.until(2)) == [("newborn-phone", 0)]
    if kind == "cleared":
        world.cleared("purity-red")
    else:
        world.does(kind, condition="purity-red", until_ms=world.now_ms + HOUR)
    assert world.until(55) == []


def test_an_acknowledged_alarm_that_grows_urgent_is_told_anew(world):
    world.raised("shutdown-expected")
    world.until(1)
    world.does(entries.ACKNOWLEDGE, condition="shutdown-expected")
    assert world.until(30) == []
    world.event("updated", "shutdown-expected", "u01", priority="high")
    begin = (world.now_ms - NOON_MS) / MINUTE
    expected = [
        ("newborn-phone", round(begin, 2)),
        ("engineer", round(begin + 3, 2)),
        ("on-call", round(begin + 10, 2)),
    ]
    assert ways_and_minutes(world.until(60)) == expected


def test_an_alarm_put_aside_is_told_again_when_it_comes_back(world):
    world.raised("purity-amber")
    world.until(1)
    world.does(entries.SHELVE, condition="purity-amber", until_ms=world.now_ms + HOUR)
    assert world.until(60) == []
    world.does(entries.UNSHELVE, condition="purity-amber")
    back = (world.now_ms - NOON_MS) / MINUTE
    assert ways_and_minutes(world.until(90)) == [
        ("newborn-phone", round(back, 2)), ("engineer", round(back + 10, 2)),
    ]  # fmt: skip


def test_a_ways_own_delay_comes_before_its_steps():
    world = World(WAYS.replace('role = "engineer"', 'role = "engineer"\nafter_min = 0'))
    world.raised("purity-red")
    assert ways_and_minutes(world.until(5)) == [("newborn-phone", 0), ("engineer", 0)]


def test_delays_are_the_files():
    world = World(WAYS + "[escalation]\nhigh_min = [0, 1, 2]\n")
    world.raised("purity-red")
    assert ways_and_minutes(world.until(9)) == [("newborn-phone", 0), ("engineer", 1), ("on-call", 2)]


# -- quiet hours ---------------------------------------------------------------------------------------------------


def test_quiet_hours_hold_back_medium_until_they_end_and_never_high():
    quiet = 'role = "ward"\nquiet_hours = "11:00-12:45"\n'
    world = World(WAYS.replace('role = "ward"\n', quiet))
    world.raised("purity-amber", "u01")
    world.raised("purity-red", "u02")
    sent = [(minute, units) for minute, way, units in world.until(60) if way == "newborn-phone"]
    assert sent == [(0, ["u02"]), (45, ["u01"])]


def test_what_was_over_before_the_quiet_hours_end_is_not_told():
    world = World(WAYS.replace('role = "ward"\n', 'role = "ward"\nquiet_hours = "23:00-12:45"\n'))
    world.raised("purity-amber")
    world.until(5)
    world.cleared("purity-amber")
    assert world.until(60) == []


# -- no flood ------------------------------------------------------------------------------------------------------


def test_a_burst_is_one_message_and_then_one_that_sums_up(world):
    world.raised("purity-red", "u01")
    world.turn()
    for n in range(2, 10):
        world.raised("purity-red", f"u{n:02}")
    sent = [(minute, len(units)) for minute, way, units in world.until(2) if way == "newborn-phone"]
    assert sent == [(0.5, 8)]


def test_what_comes_in_one_moment_is_one_message(world):
    for n in range(1, 31):
        world.raised("purity-red", f"u{n:02}")
    (letter,) = world.turn().values()
    assert len(letter.happenings) == 30


def test_a_flood_slows_a_way_down(world):
    sent = []
    for n in range(1, 31):
        world.raised("purity-red", f"u{n:02}")
        sent += [minute for minute, way, _ in world.until(n) if way == "newborn-phone"]
    assert len([minute for minute in sent if minute < 10]) == 7  # five, then one every other minute
    assert all(round(after - before, 2) >= 2 for before, after in pairwise(sent[5:]))


def test_a_wards_one_event_is_one_message_for_all_its_members(world):
    members = ["u01", "u02", "u03"]
    for unit in members:
        world.raised("supply-lost", unit)
    world.raised("ward-supply-lost", "", units=members, units_lost=3)
    (letter,) = world.turn().values()
    assert [one.place for one in letter.happenings] == ["newborn"]
    assert letter.happenings[0].units == ("u01", "u02", "u03")


def test_a_unit_that_is_no_member_is_told_beside_it(world):
    world.raised("ward-supply-lost", "", units=["u01", "u02"], units_lost=2)
    world.raised("supply-lost", "u03")
    (letter,) = world.turn().values()
    assert [one.place for one in letter.happenings] == ["newborn", "u03"]


def test_raised_again_within_minutes_is_an_update_and_ever_rarer(world):
    sent = []
    for _ in range(36):  # a condition that chatters for three hours, five minutes each
        world.raised("purity-amber")
        sent += [minute for minute, way, _ in world.until((world.now_ms - NOON_MS) / MINUTE + 4) if way[0] == "n"]
        world.cleared("purity-amber")
        world.until((world.now_ms - NOON_MS) / MINUTE + 0.6)
    gaps = [round(after - before) for before, after in pairwise(sent)]
    assert len(sent) <= 5
    assert gaps == sorted(gaps)
    assert gaps[0] >= 15


def test_amber_then_red_is_told_at_once_and_red_then_off_is_an_update(world):
    world.raised("purity-amber")
    world.until(2)
    world.raised("purity-red")
    assert ways_and_minutes(world.until(3))[0][0] == "newborn-phone"
    world.raised("purity-shutdown")
    sent = [(minute, way) for minute, way, _ in world.until(9) if way == "newborn-phone"]
    assert [round(minute) for minute, _ in sent] == [7]
    assert world.rows[-1].kind == entries.MESSAGE_SENT


def test_what_is_less_urgent_of_a_unit_is_not_told_beside_what_is_worse(world):
    world.raised("purity-amber")
    world.raised("purity-red")
    world.does(entries.ACKNOWLEDGE, condition="purity-red")
    assert world.until(60) == []
    world.cleared("purity-red")
    assert [way for way, _ in ways_and_minutes(world.until(61))] == ["newborn-phone", "engineer"]


def test_a_message_says_whether_it_is_an_update_or_comes_again(world):
    def said():
        return [row.body["say"].partition(":")[0] for row in world.rows if row.body.get("way") == "newborn-phone"]

    world.raised("purity-amber")
    world.until(1)
    world.raised("purity-red")
    world.until(2)
    assert said() == ["Newborn ward, u01", "Update"]
    world.cleared("purity-red")
    world.raised("purity-red")
    world.until(20)
    assert said() == ["Newborn ward, u01", "Update", "Again"]


# -- failures ------------------------------------------------------------------------------------------------------


def test_a_way_that_fails_is_tried_again_ever_later_and_then_no_more(world):
    world.refuse = {"newborn-phone"}
    world.raised("purity-amber")
    world.until(26 * 60, step_s=30)
    rows = [row for row in world.rows if row.kind == entries.MESSAGE_FAILED]
    minutes = [(row.at_ms - NOON_MS) / MINUTE for row in rows]
    assert minutes == [0, 0.5, 1.5, 3.5, 7.5, 15.5, 30.5, 45.5]
    assert [row.body["last"] for row in rows] == [False] * 7 + [True]
    assert len(rows) == ENDS["medium"]


def test_what_cannot_wait_goes_to_the_next_step_when_the_first_is_not_reached(world):
    world.refuse = {"newborn-phone"}
    world.raised("purity-red")
    sent = [(way, minute) for way, minute in ways_and_minutes(world.until(20)) if way != "newborn-phone"]
    assert sent[0][1] < 1  # not after its three minutes
    assert sent[0][0] == "engineer"


def test_a_new_high_alarm_does_not_wait_for_the_long_rest_of_a_way_that_fails(world):
    world.refuse = {"newborn-phone"}
    world.raised("purity-amber", "u01")
    world.until(20)
    world.refuse = set()
    world.raised("purity-red", "u02")
    sent = [(round(minute), units) for minute, way, units in world.until(30) if way == "newborn-phone"]
    assert sent[0] == (20, ["u02", "u01"])


def test_a_way_that_came_back_gets_one_message_for_all_that_stands(world):
    world.refuse = {"newborn-phone"}
    for n in range(1, 6):
        world.raised("purity-red", f"u{n:02}")
        world.until(n)
    world.refuse = set()
    units = [units for _, way, units in world.until(20) if way == "newborn-phone"]
    assert units == [["u01", "u02", "u03", "u04", "u05"]]


# -- restarts and time ---------------------------------------------------------------------------------------------


def test_after_a_restart_nothing_is_sent_twice_and_nothing_is_left_out(world):
    undisturbed = World()
    for each in (world, undisturbed):
        each.raised("purity-red", "u01")
        each.raised("purity-amber", "u02")
    expected, sent = undisturbed.until(40), []
    for minute in range(41):
        sent += world.until(minute)
        world.restart()
    assert sent == expected


def test_after_a_long_stop_what_is_over_is_not_told_and_what_stands_is_said_to_be_old(world):
    world.raised("purity-red", "u01")
    world.raised("purity-red", "u02")
    world.now_ms += 2 * HOUR
    world.cleared("purity-red", "u01")
    letters = world.turn()
    assert {way: [one.unit for one in letter.happenings] for way, letter in letters.items()} == {
        "newborn-phone": ["u02"], "engineer": ["u02"], "on-call": ["u02"],
    }  # fmt: skip
    said = world.rows[-1].body["say"]
    assert "(since 12:00, 2 h ago)" in said


def test_what_stands_for_days_and_was_never_told_is_no_news_unless_it_is_high(world):
    world.raised("capacity-falling", "u01")
    world.raised("purity-red", "u02")
    world.now_ms += 25 * HOUR
    assert {one.unit for letter in world.turn().values() for one in letter.happenings} == {"u02"}


def test_a_clock_that_is_set_back_does_not_keep_high_from_being_told(world):
    world.raised("purity-red", "u01")
    world.turn()
    world.now_ms -= 12 * HOUR
    world.raised("purity-red", "u02")
    assert [one.unit for one in world.turn()["newborn-phone"].happenings] == ["u02"]


# -- tests, and a collector that is gone ---------------------------------------------------------------------------


def test_a_test_goes_every_way_of_its_wards_at_once_whatever_hours_and_pauses():
    world = World(WAYS.replace('role = "ward"\n', 'role = "ward"\nquiet_hours = "11:00-13:00"\n'))
    world.raised("purity-red")
    world.turn()
    world.does(entries.TEST_ALARM, unit="", ward="", wards=["newborn"], until_ms=world.now_ms + 5 * MINUTE)
    assert set(world.turn()) == {"newborn-phone", "engineer", "on-call", "planner"}
    assert all("TEST, no alarm" in row.body["say"] for row in world.rows[-4:])


def test_a_test_leaves_other_wards_phones_alone_and_is_not_told_late(world):
    world.does(entries.TEST_ALARM, unit="", ward="", wards=["childrens"], until_ms=world.now_ms + 5 * MINUTE)
    assert "newborn-phone" not in world.turn()
    world.does(entries.TEST_ALARM, unit="", ward="", wards=["newborn"], until_ms=world.now_ms + MINUTE)
    world.now_ms += 2 * MINUTE
    assert world.turn() == {}


def test_a_real_alarm_goes_before_a_test(world):
    world.does(entries.TEST_ALARM, unit="", ward="", wards=["newborn"], until_ms=world.now_ms + 5 * MINUTE)
    world.raised("purity-red")
    assert [one.kind for one in world.turn()["newborn-phone"].happenings] == ["alarm"]
    assert [one.kind for one in world.turn()["newborn-phone"].happenings] == ["test"]


def test_a_collector_that_is_gone_is_told_once_to_the_engineer_and_then_to_on_call(world):
    world.lost = Lost(COLLECTOR_LOST, NOON_MS - 3 * MINUTE, 17)
    assert [way for way, _ in ways_and_minutes(world.until(600, step_s=60))] == ["engineer", "on-call"]
    world.restart()
    assert world.until(660) == []


@pytest.mark.parametrize(
    ("age_min", "stopped", "broker_min", "expected"),
    [
        (0, False, None, None),
        (1.9, False, None, None),
        (2.1, False, None, "collector-lost"),
        (2.1, True, None, None),  # it was stopped on purpose: an update takes its time
        (15.1, True, None, "collector-lost"),
        (0, False, 4, None),
        (0, False, 6, "broker-lost"),
    ],
)
def test_when_the_collector_counts_as_gone(age_min, stopped, broker_min, expected):
    heard_ms = NOON_MS - int(age_min * MINUTE)
    document = {"wall_ms": heard_ms, "at_ms": heard_ms, "broker_state": "connected" if broker_min is None else "away",
                "broker_ms": NOON_MS - int((broker_min or 0) * MINUTE)}  # fmt: skip
    lost = what_is_lost(document, stopped, NOON_MS, NOON_MS, 1.0)
    assert (lost.kind if lost else None) == expected


def test_a_collector_that_was_never_there_is_not_missed():
    assert what_is_lost(None, False, NOON_MS, NOON_MS, 1.0) is None
