"""`backup-low`: told when it has stood for a while, ended with room to spare, and never rattled by a flow."""

import msgspec
import pytest

from collector.backup.known import CylinderNow, WardBackup, Watching
from collector.backup.watch import follow
from tests.collector.backup.stories import MINUTE, T0


def standing(lasts_min: float | None, *states: str) -> WardBackup:
    cylinders = tuple(CylinderNow(id=f"c{n}", place="", state=state) for n, state in enumerate(states or ("good",)))
    return WardBackup(
        ward="w", at_ms=T0, flow_lpm=4.0, need_min=40.0, usable_l=100.0, lasts_min=lasts_min, cylinders=cylinders
    )


def told(course: list[WardBackup], *, entered: tuple[int, ...] = (), watching: Watching | None = None):
    """(minute, event, why, priority) of a course judged once a minute; `entered` are minutes with a reading."""
    watching = watching or Watching()
    found = []
    for minute, backup in enumerate(course):
        event = follow(backup, watching, T0 + minute * MINUTE, at_once=minute in entered)
        if event is not None:
            found.append((minute, event.event, event.evidence["why"], event.priority))
    return found


def test_a_backup_that_stays_short_is_told_after_three_minutes():
    assert told([standing(39.0)] * 10) == [(3, "raised", "short", "medium")]


def test_a_flow_turned_up_for_a_moment_is_not_told():
    assert told([standing(39.0)] * 2 + [standing(60.0)] * 20) == []


def test_a_flow_about_the_limit_is_one_alarm():
    course = [standing(39.0 if minute % 2 else 42.0) for minute in range(120)]
    assert told(course) == [(4, "raised", "short", "medium")]


def test_it_ends_after_ten_minutes_with_a_quarter_to_spare():
    course = [standing(30.0)] * 5 + [standing(49.0)] * 20 + [standing(51.0)] * 20
    assert told(course) == [(3, "raised", "short", "medium"), (35, "cleared", "short", "medium")]


def test_a_reading_that_was_entered_ends_it_at_once():
    course = [standing(30.0)] * 5 + [standing(90.0)] * 5
    assert told(course, entered=(5,))[-1] == (5, "cleared", "short", "medium")


def test_a_cylinder_under_its_change_pressure_is_told_at_once_and_by_name():
    event = follow(standing(90.0, "good", "change"), Watching(), T0, at_once=True)
    assert event is not None
    assert (event.event, event.priority, event.evidence["cylinders"]) == ("raised", "low", ["c1"])
    assert event.action == "Nearly empty: c1. Change it for a full cylinder and enter what its gauge shows."


def test_gauges_to_be_read_are_asked_for_with_it_where_nothing_is_known_to_last():
    event = follow(standing(0.0, "unread", "change"), Watching(), T0, at_once=True)
    assert event is not None
    assert event.action.startswith("Nearly empty: c1.")
    assert event.action.endswith("Read their gauges and enter what they show: c0.")


def test_another_cylinder_to_be_changed_is_told_under_the_same_alarm():
    watching = Watching()
    follow(standing(90.0, "good", "change"), watching, T0, at_once=True)
    event = follow(standing(90.0, "change", "change"), watching, T0 + MINUTE, at_once=True)
    assert event is not None
    assert (event.event, event.evidence["named"]) == ("updated", "c0, c1")


def test_gauges_that_nobody_read_are_asked_for_only_where_it_matters():
    assert told([standing(90.0, "good", "unread")] * 60) == []
    assert told([standing(None, "unread")] * 60) == []
    assert told([standing(0.0, "unread")] * 60) == [(30, "raised", "unread", "low")]


def test_a_short_backup_is_no_better_for_a_reading_that_grew_old():
    course = [standing(30.0, "good", "good")] * 5 + [standing(10.0, "good", "unread")] * 60
    assert told(course) == [(3, "raised", "short", "medium")]


def test_worse_is_told_under_the_same_alarm():
    course = [standing(90.0, "change", "good")] * 3 + [standing(20.0, "change", "good")] * 10
    assert told(course) == [(0, "raised", "change", "low"), (6, "updated", "short", "medium")]


def test_a_ward_for_which_no_cylinder_is_listed_has_its_backup_elsewhere():
    assert told([msgspec.structs.replace(standing(0.0), cylinders=())] * 60) == []


@pytest.mark.parametrize("cut", range(1, 40, 3))
def test_a_restart_at_any_minute_changes_nothing(cut):
    course = [standing(30.0)] * 7 + [standing(60.0)] * 30
    watching = Watching()
    before = told(course[:cut], watching=watching)
    again = msgspec.json.decode(msgspec.json.encode(watching), type=Watching)
    events = [
        event.event for minute, one in enumerate(course[cut:], cut)
        if (event := follow(one, again, T0 + minute * MINUTE, at_once=False)) is not None
    ]  # fmt: skip
    assert [e[1] for e in before] + events == ["raised", "cleared"]
