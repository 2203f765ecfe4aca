"""What to change over to, on tiles, in a ward's notice and on a unit's page; what is old says so."""

from typing import Any

import msgspec

from collector.backup.known import CylinderNow, Known, Spare, WardBackup
from collector.clock import ManualClock
from collector.rules.alarms import Alarm
from collector.rules.lifecycle import State
from collector.rules.unitrow import UnitRow
from collector.site import parse_site
from dashboard.board import board_of
from dashboard.changeover import panel_html, say_of, ward_line
from dashboard.figures import alarm_html
from dashboard.queries import CollectorNow, Now
from dashboard.tiles import board_html
from tests.dashboard.conftest import seen

NOW = 1_790_000_000_000
MINUTE, HOUR = 60_000, 3_600_000
SITE = parse_site("""
[facility]
id = "sim-x"
[[ward]]
id = "east"
[[unit]]
id = "u1"
ward = "east"
[[unit]]
id = "u2"
ward = "east"
[[cylinder]]
id = "e-1"
ward = "east"
water_l = 9.4
[[cylinder]]
id = "e-2"
ward = "east"
water_l = 9.4
""")


def backup(judged_ms: int = NOW, **fields: Any) -> WardBackup:
    good = CylinderNow(id="e-1", place="<by> the door", state="good", usable_l=400.0, kpa=6000.0, read_ms=NOW - HOUR,
                       good_until_ms=NOW + 23 * HOUR)  # fmt: skip
    usual: dict[str, Any] = {
        "flow_lpm": 4.0, "need_min": 60.0, "usable_l": 400.0, "lasts_min": 100.0, "flows": {"u1": 4.0},
        "cylinders": (good, CylinderNow(id="e-2", place="", state="unread")),
        "spares": (Spare(unit="u2", good_to_lpm=5.0, proven_ms=NOW - HOUR, warm_up_min=10.0),),
    }  # fmt: skip
    return WardBackup(ward="east", at_ms=judged_ms, **usual | fields)


def now_of(found: WardBackup | None, *alarms: Alarm) -> Now:
    rows = {
        u: UnitRow(unit=u, last_ms=NOW - 5000, phase="running", purity_pct=80.0, flow_lpm=4.0) for u in ("u1", "u2")
    }
    known = Known(wards={"east": found}) if found else Known()
    status = CollectorNow(at_ms=NOW, wall_ms=NOW, broker_state="connected")
    return Now(facility="sim-x", site=SITE, clock=ManualClock(NOW), units=rows, alarms=alarms, collector=status,
               out_of_service=frozenset(), backup=known)  # fmt: skip


def alarm(unit: str = "u1", condition: str = "purity-red", **fields: Any) -> Alarm:
    usual: dict[str, Any] = {"ward": "east", "active": True, "priority": "high", "audience": ("ward", "engineer"),
             "action": "Change over to the backup now.", "raised_ms": NOW, "state": State.UNACKNOWLEDGED}  # fmt: skip
    return Alarm(unit=unit, condition=condition, **usual | fields)


SAID = "Change over to cylinder e-1 (&lt;by&gt; the door): lasts about 1 h 30 min at 4.0 L/min. Then to spare unit u2"


def test_a_tile_says_what_to_change_over_to_and_escapes_it():
    html = board_html(board_of(now_of(backup(), alarm()), NOW, NOW), None)
    assert f'<span class="sw-change">{SAID}' in html
    assert "<by>" not in html


def test_the_list_of_alarms_says_it_too_while_an_alarm_speaks():
    there = alarm()
    assert SAID in alarm_html(there, now_of(backup(), there), NOW)
    gone = alarm(active=False, state=State.RETURNED, cleared_ms=NOW)
    assert SAID not in alarm_html(gone, now_of(backup(), gone), NOW)


def test_without_a_backup_on_record_a_tile_says_nothing_of_it():
    assert "sw-change" not in board_html(board_of(now_of(None, alarm()), NOW, NOW), None)


def test_an_alarm_that_asks_for_no_changeover_says_nothing_of_it():
    assert say_of(now_of(backup(), one := alarm(condition="supply-poor")), [one], NOW) == ""


def test_the_ward_s_notice_says_it_for_all_and_its_units_do_not_repeat_it():
    cut = alarm("", "ward-supply-lost", evidence={"units": ["u1", "u2"]})
    html = board_html(board_of(now_of(backup(), cut), NOW, NOW), None)
    assert html.count("it lasts about 1 h 30 min at the ward") == 1
    assert "sw-change" not in html


def test_one_ward_s_board_says_how_its_backup_is():
    found = board_of(now_of(backup()), NOW, NOW)
    said = "Backup: 1 of 2 cylinders good; about 1 h 30 min at 4.0 L/min; spare u2."
    assert found.wards[0].backup == said
    assert said in board_html(found, "east")
    assert said not in board_html(found, None)


def test_a_judgement_that_is_old_says_of_when_and_names_no_spare():
    now = now_of(backup(judged_ms=NOW - 20 * MINUTE), one := alarm())
    assert say_of(now, [one], NOW).startswith("As known at ")
    assert "u2" not in say_of(now, [one], NOW)
    assert "u2" not in ward_line(now, "east", NOW)


def test_a_gauge_that_has_grown_old_since_is_not_named():
    later = NOW + 24 * HOUR
    assert "e-1" not in say_of(now_of(backup(), one := alarm()), [one], later)
    assert "0 of 2 cylinders good" in ward_line(now_of(backup()), "east", later)


def test_a_unit_s_page_has_its_card_before_anything_happens_and_when_the_gauge_was_read():
    html = panel_html(now_of(backup()), "east", "u1", [], NOW)
    assert "Change over to cylinder e-1" in html
    assert "Gauge read " in html
    assert "Oxygen feeds fire" in html
    assert panel_html(now_of(None), "east", "u1", [], NOW) == ""


def test_board_and_unit_page_send_two_units_to_different_backup():
    two = [alarm("u1"), alarm("u2", raised_ms=NOW + 1)]
    now = now_of(backup(spares=(), flows={"u1": 4.0, "u2": 4.0}), *two)
    assert "cylinder e-1" in panel_html(now, "east", "u1", [two[0]], NOW)
    assert "No backup of this ward" in panel_html(now, "east", "u2", [two[1]], NOW)


def test_a_document_of_another_version_is_no_backup(screen, hospital):
    one = hospital(units=5)
    with one.store.transaction():
        one.store.set_status("backup", {"wards": {"medical": {"flow": "much"}}})
    assert "sw-change" not in seen(screen("board"))


def test_the_unit_screen_shows_the_card(screen, hospital):
    one = hospital(units=5)
    found = msgspec.structs.replace(backup(judged_ms=one.now_ms), ward="medical", flows={"unit-01": 4.0})
    text = one.text + '\n[[cylinder]]\nid = "e-1"\nward = "medical"\nwater_l = 9.4\n'
    one.text = text
    one.say()
    with one.store.transaction():
        cylinder = msgspec.structs.replace(found.cylinders[0], good_until_ms=one.now_ms + HOUR, read_ms=one.now_ms)
        found = msgspec.structs.replace(found, cylinders=(cylinder,), spares=())
        one.store.set_status("backup", msgspec.to_builtins(Known(wards={"medical": found})))
    assert "Change over to cylinder e-1" in seen(screen("unit", unit="unit-01"))
