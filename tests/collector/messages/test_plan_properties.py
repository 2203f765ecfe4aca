"""Whatever happens, in whatever order: nothing twice, nothing urgent left out, nothing to whom it is not for."""

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.rules import entries
from collector.rules.entries import MESSAGE_SENT
from collector.rules.lifecycle import State
from collector.rules.limits import HOUR, MINUTE
from tests.collector.messages.world import World

UNITS = ("u01", "u02", "u31")
CONDITIONS = ("purity-red", "purity-amber", "readings-absent", "capacity-falling", "flow-absent")
STEPS = ("raised", "cleared", "rise", entries.ACKNOWLEDGE, entries.SHELVE, entries.UNSHELVE, entries.OUT_OF_SERVICE,
         entries.RETURN_TO_SERVICE, "restart", "way fails", "way is back")  # fmt: skip
STEP = st.tuples(st.sampled_from(STEPS), st.sampled_from(UNITS), st.sampled_from(CONDITIONS), st.integers(0, 40))


def ward_of(unit):
    return "childrens" if unit == "u31" else "newborn"


def play(world, steps):
    for what, unit, condition, minutes in steps:
        ward = ward_of(unit)
        alarm = world.board.alarms.get((unit, "", condition))
        active = alarm is not None and alarm.active
        if what == "raised" and not active:
            world.raised(condition, unit, ward)
        elif what == "cleared" and active:
            world.cleared(condition, unit, ward)
        elif what == "rise" and active:
            world.event("updated", condition, unit, ward, priority="high")
        elif what == "restart":
            world.restart()
        elif what in ("way fails", "way is back"):
            world.refuse = {"newborn-phone"} if what == "way fails" else set()
        elif what not in ("raised", "cleared", "rise"):
            world.does(what, unit, condition, ward, until_ms=world.now_ms + HOUR)
        until_ms = world.now_ms + minutes * MINUTE
        while world.now_ms < until_ms:
            world.turn()
            world.now_ms += 2 * MINUTE


def sent_of(world):
    return [(row.body["way"], item["about"]) for row in world.rows if row.kind == MESSAGE_SENT
            for item in row.body["alarms"]]  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(st.lists(STEP, max_size=25))
def test_nothing_is_told_twice_and_nothing_high_is_left_out(steps):
    world = World()
    play(world, steps)
    sent = sent_of(world)
    assert len(sent) == len(set(sent))
    world.refuse = set()
    for _ in range(120):  # long enough for every delay, pause and rarest update
        world.turn()
        world.now_ms += 2 * MINUTE
    told = set(sent_of(world))
    for alarm in world.board.speaking():
        if alarm.state == State.UNACKNOWLEDGED and alarm.priority == "high":
            again = f"-{alarm.resumed}" if alarm.resumed else ""
            for way in ("engineer", "on-call"):
                assert (way, f"alarm-{alarm.heard_seq}{again}") in told


@settings(max_examples=60, deadline=None)
@given(st.lists(STEP, max_size=25))
def test_a_restart_at_every_step_changes_nothing(steps):
    undisturbed, restarted = World(), World()
    play(undisturbed, steps)
    play(restarted, [each for step in steps for each in (step, ("restart", "u01", "purity-red", 0))])
    assert sent_of(restarted) == sent_of(undisturbed)


@settings(max_examples=60, deadline=None)
@given(st.lists(STEP, max_size=25))
def test_a_wards_phone_hears_of_its_ward_alone_and_the_planner_of_what_can_wait(steps):
    world = World()
    play(world, steps)
    for row in world.rows:
        if row.kind == MESSAGE_SENT:
            wards = {item["ward"] for item in row.body["alarms"]}
            assert row.body["way"] != "newborn-phone" or wards == {"newborn"}
            assert row.body["way"] != "planner" or {item["priority"] for item in row.body["alarms"]} == {"low"}
