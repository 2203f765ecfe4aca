"""Every role by every action of upkeep, and what each leaves in the journal."""

from datetime import date

import pytest

from collector.people.rights import PLACE_UNITS, RIGHTS, ROLES, may
from collector.rules import entries
from collector.rules.alarms import Alarm
from collector.service.gate import may_return, standings
from collector.service.proof import Measured
from collector.service.work import work_orders
from collector.store.journal import JournalWriter
from dashboard import actions, queries
from dashboard import service_actions as acts
from dashboard.actions import Person, Refused
from dashboard.service_actions import Done, Findings
from tests.collector.service.service_rows import NOW, SITE, Book

CABINET, INTAKE, _, CHECK = SITE.model("five").task
CYLINDER = SITE.cylinders[0]
GOOD = Measured(88.0, 93.0, 5.0)
FOUND = Findings("torn seal", "leak", "seal changed", {"Intake filter": 1}, 40)
ENGINEER = Person(" N.  Example ", "engineer")


def an_order(**closing):
    book = Book()
    book.add(entries.WORK_OPENED, work="u1-20260921-1", why="output low")
    if closing:
        book.add(entries.WORK_CLOSED, work="u1-20260921-1", **closing)
    return work_orders(book.rows)["u1-20260921-1"]


#: What is done, and by whom it may be.
ACTIONS = {
    "the ward's own task": (
        lambda who: acts.do_task(SITE, "u1", CABINET, who, NOW, Done()), {"ward", "engineer", "administrator"}),
    "a technician's task": (
        lambda who: acts.do_task(SITE, "u1", INTAKE, who, NOW, Done()), {"engineer", "administrator"}),
    "the ward could not find a unit": (
        lambda who: acts.do_task(SITE, "u1", CABINET, who, NOW, Done("could-not-locate")), set(ROLES)),
    "a technician could not find a unit": (
        lambda who: acts.do_task(SITE, "u1", INTAKE, who, NOW, Done("could-not-locate")),
        {"engineer", "planner", "administrator"}),
    "put off": (
        lambda who: acts.do_task(SITE, "u1", INTAKE, who, NOW, Done("put-off", note="no spare")),
        {"engineer", "planner", "administrator"}),
    "open": (
        lambda who: acts.open_work(SITE, "u1", who, NOW, "odd noise", taken=()), {"engineer", "administrator"}),
    "close": (lambda who: acts.close_work(SITE, an_order(), who, NOW, FOUND), {"engineer", "administrator"}),
    "prove": (lambda who: acts.prove(SITE, "u1", who, NOW, "bench", GOOD), {"engineer", "administrator"}),
    "cylinder": (
        lambda who: acts.read_cylinder(SITE, CYLINDER, who, NOW, 120, "bar"), {"ward", "engineer", "administrator"}),
    "parts": (lambda who: acts.move_part(SITE, "filter", 5, "received", who, NOW), {"planner", "administrator"}),
    "lock a visit": (
        lambda who: acts.set_visit(SITE, "v1", "2026-10-05", [("u1", "intake-filter")], "locked", who, NOW),
        {"planner", "administrator"}),
    "finish a visit": (
        lambda who: acts.set_visit(SITE, "v1", "2026-10-05", [("u1", "intake-filter")], "done", who, NOW),
        {"engineer", "planner", "administrator"}),
    "take out": (lambda who: actions.take_out("u1", "east", who, NOW, "odd noise"), {"engineer", "administrator"}),
}  # fmt: skip


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", ACTIONS)
def test_each_role_by_each_action(name, role):
    make, roles = ACTIONS[name]
    if role in roles:
        entry = make(Person("N. Example", role))
        assert (entry.who, entry.role, entry.origin, entry.at_ms) == ("N. Example", role, "dashboard", NOW)
    else:
        with pytest.raises(Refused, match="for"):
            make(Person("N. Example", role))


@pytest.mark.parametrize("name", ACTIONS)
def test_nothing_is_written_without_a_name(name):
    make, roles = ACTIONS[name]
    with pytest.raises(Refused, match="Write your name"):
        make(Person("  ", sorted(roles)[0]))


def test_what_pages_hide_is_what_is_refused():
    every = {entries.NOTE, entries.ACKNOWLEDGE, entries.SHELVE, entries.UNSHELVE, entries.SITE_CHANGE, PLACE_UNITS}
    assert {kind for kind in RIGHTS if may("ward", kind)} == {entries.TASK_DONE, entries.CYLINDER_READ} | every
    assert {kind for kind in RIGHTS if may("planner", kind)} == {
        entries.TASK_DONE, entries.PART_MOVED, entries.VISIT} | every  # fmt: skip


# -- tasks --------------------------------------------------------------------------------------------------------


def test_a_task_leaves_what_others_fold():
    done = Done(meter_h=1210.5, minutes=20, parts={"Intake filter": 1, "filter": 1}, note=" as  planned ")
    entry = acts.do_task(SITE, "u1", INTAKE, ENGINEER, NOW, done)
    assert (entry.kind, entry.unit, entry.ward) == (entries.TASK_DONE, "u1", "east")
    assert entry.body == {"task": "intake-filter", "outcome": "done", "meter_h": 1210.5, "minutes": 20.0,
                          "parts": {"filter": 2}, "note": "as planned"}  # fmt: skip


@pytest.mark.parametrize(
    ("task", "done", "said"),
    [(INTAKE, Done("put-off"), "Write a reason"), (CHECK, Done(), "write the check down"),
     (INTAKE, Done(parts={"valve": 1}), "no part 'valve'"), (INTAKE, Done(parts={"filter": 0}), "Pieces of filter"),
     (INTAKE, Done(parts={"filter": -1}), "Pieces of filter"), (INTAKE, Done(meter_h=-1), "Hour meter"),
     (INTAKE, Done(minutes=float("nan")), "Minutes")],
)  # fmt: skip
def test_a_task_that_would_mislead_is_refused(task, done, said):
    with pytest.raises(Refused, match=said):
        acts.do_task(SITE, "u1", task, ENGINEER, NOW, done)


def test_a_unit_that_the_site_does_not_have_is_refused():
    with pytest.raises(Refused, match="no unit 'u9'"):
        acts.do_task(SITE, "u9", INTAKE, ENGINEER, NOW, Done())


# -- work and proof -----------------------------------------------------------------------------------------------


def test_an_order_from_an_alarm_says_which_and_since_when():
    alarm = Alarm(unit="u1", ward="east", condition="capacity-falling", raised_ms=NOW - 5, event_seq=7)
    entry = acts.open_work(SITE, "u1", ENGINEER, NOW, "to the bench", taken=["u1-20260921-1"], alarm=alarm)
    assert entry.body == {"work": "u1-20260921-2", "why": "to the bench", "condition": "capacity-falling",
                          "raised_ms": NOW - 5, "event_seq": 7}  # fmt: skip


def test_an_order_is_closed_once_and_says_what_was_found_and_done():
    body = acts.close_work(SITE, an_order(), ENGINEER, NOW, FOUND).body
    assert body == {"work": "u1-20260921-1", "fault_found": "torn seal", "cause": "leak", "action": "seal changed",
                    "parts": {"filter": 1}, "minutes": 40.0}  # fmt: skip
    with pytest.raises(Refused, match="closed already"):
        acts.close_work(SITE, an_order(action="x"), ENGINEER, NOW, FOUND)
    for wrong, said in ((FOUND._replace(fault_found=" "), "Write which fault"), (FOUND._replace(action=""), "was done"),
                        (FOUND._replace(minutes=-5), "Minutes")):  # fmt: skip
        with pytest.raises(Refused, match=said):
            acts.close_work(SITE, an_order(), ENGINEER, NOW, wrong)
    with pytest.raises(ValueError, match="is none of"):
        acts.close_work(SITE, an_order(), ENGINEER, NOW, FOUND._replace(cause="gremlins"))


@pytest.mark.parametrize(("as_left", "result"), [(93.0, "pass"), (83.0, "pass"), (82.9, "fail")])
def test_a_check_is_judged_as_it_is_written(as_left, result):
    body = acts.prove(SITE, "u1", ENGINEER, NOW, "bench", GOOD._replace(as_left_pct=as_left), an_order()).body
    assert {key: body[key] for key in ("work", "analyser", "as_found_pct", "flow_lpm", "uncertainty_pct")} == {
        "work": "u1-20260921-1", "analyser": "bench", "as_found_pct": 88.0, "flow_lpm": 5.0, "uncertainty_pct": 1.0,
    }  # fmt: skip
    assert (body["as_left_pct"], body["result"], body["limit_pct"]) == (as_left, result, 82.0)
    assert body["calibrated"] == str(date(2026, 3, 1))


@pytest.mark.parametrize(
    ("unit", "analyser", "measured", "said"),
    [("u1", "old", GOOD, r"ran out on 1 Mar 2026\. Use Bench analyser"), ("u1", "new", GOOD, "no calibration date"),
     ("u1", "none", GOOD, "has the id 'none'"), ("u2", "bench", GOOD, "is of u1"),
     ("u1", "bench", GOOD._replace(flow_lpm=9.0), "Set 5 L/min")],
)  # fmt: skip
def test_a_check_that_proves_nothing_is_refused(unit, analyser, measured, said):
    with pytest.raises(Refused, match=said):
        acts.prove(SITE, unit, ENGINEER, NOW, analyser, measured, an_order())


def test_out_repaired_proven_and_back(tmp_path, hospital):
    """The whole way through a real journal."""
    one = hospital(units=1, minutes=0)

    def write(entry):
        return JournalWriter(one.data_dir).append([entry])[0]

    def gate():
        return may_return(standings(SITE, queries.service_rows(one.data_dir, "u1")).get("u1"), NOW)

    write(actions.take_out("u1", "east", ENGINEER, NOW, "weak"))
    write(acts.open_work(SITE, "u1", ENGINEER, NOW, "weak", taken=()))
    (order,) = work_orders(queries.service_rows(one.data_dir)).values()
    write(acts.prove(SITE, "u1", ENGINEER, NOW, "bench", Measured(70.0, 75.0, 5.0), order))
    with pytest.raises(Refused, match=r"u1 stays out of service: its work order is open"):
        actions.put_back("u1", "east", ENGINEER, NOW, "done", gate())
    write(acts.close_work(SITE, order, ENGINEER, NOW, FOUND))
    with pytest.raises(Refused, match=r"no passed check since a check failed\. Check purity at rated flow"):
        actions.put_back("u1", "east", ENGINEER, NOW, "done", gate(), override=True)
    proof = write(acts.prove(SITE, "u1", ENGINEER, NOW, "bench", GOOD, order))
    row = write(actions.put_back("u1", "east", ENGINEER, NOW, "done", gate()))
    assert row.body == {"reason": "done", "proof": proof.seq}


def test_an_administrator_overrides_knowingly_and_with_a_reason():
    boss, shut = Person("M. Example", "administrator"), may_return(None, NOW)
    with pytest.raises(Refused, match="stays out of service"):
        actions.put_back("u1", "east", boss, NOW, "no other", shut)
    with pytest.raises(Refused, match="Write a reason"):
        actions.put_back("u1", "east", boss, NOW, " ", shut, override=True)
    body = actions.put_back("u1", "east", boss, NOW, "no other", shut, override=True).body
    assert body == {"reason": "no other", "override": True, "missing": "it has never been checked"}


# -- cylinders, parts, visits -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "unit", "kpa"), [(120, "bar", 12_000.0), (2000, "psi", 13_789.5), (800, "kPa", 800)])
def test_a_gauge_is_read_in_its_own_unit(value, unit, kpa):
    entry = acts.read_cylinder(SITE, CYLINDER, Person("N. Example", "ward"), NOW, value, unit)
    assert (entry.kind, entry.unit, entry.ward) == (entries.CYLINDER_READ, "", "east")
    assert entry.body == {"cylinder": "east-1", "kpa": pytest.approx(kpa, abs=0.1), "entered": f"{value} {unit}"}


@pytest.mark.parametrize(("value", "unit"), [(12_000, "bar"), (-1, "bar"), (float("nan"), "kPa")])
def test_a_pressure_that_cannot_be_is_refused(value, unit):
    with pytest.raises(Refused, match="Look"):
        acts.read_cylinder(SITE, CYLINDER, ENGINEER, NOW, value, unit)


def test_parts_move_by_name_or_id_and_say_why():
    planner = Person("N. Example", "planner")
    entry = acts.move_part(SITE, "Intake filter", -2, "lost", planner, NOW)
    assert (entry.kind, entry.body) == (entries.PART_MOVED, {"part": "filter", "by": -2, "why": "lost"})
    for part, by, why, said in (
        ("valve", 1, "x", "no part"),
        ("filter", 0, "x", "how many"),
        ("filter", 1, "", "reason"),
    ):
        with pytest.raises(Refused, match=said):
            acts.move_part(SITE, part, by, why, planner, NOW)


def test_a_visit_that_is_moved_says_why():
    planner, tasks = Person("N. Example", "planner"), [("u1", "intake-filter"), ("u2", "intake-filter")]
    entry = acts.set_visit(SITE, "v1", "2026-10-05", tasks, "moved", planner, NOW, "ward is full")
    assert (entry.kind, entry.ward) == (entries.VISIT, "east")
    assert entry.body == {
        "visit": "v1", "day": "2026-10-05", "state": "moved", "why": "ward is full",
        "tasks": [{"unit": "u1", "task": "intake-filter"}, {"unit": "u2", "task": "intake-filter"}],
    }  # fmt: skip
    for day, listed, state, said in (("2026-10-05", tasks, "cancelled", "reason"), ("5 Oct", tasks, "locked", "day"),
                                     ("2026-10-05", [], "locked", "tasks"),
                                     ("2026-10-05", [("u9", "x")], "locked", "no unit")):  # fmt: skip
        with pytest.raises(Refused, match=said):
            acts.set_visit(SITE, "v1", day, listed, state, planner, NOW)
