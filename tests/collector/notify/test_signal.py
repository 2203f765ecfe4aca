"""What a ward is told: what speaks, worst first, and nothing that is held back or meant for others."""

from typing import Any

import msgspec

from collector.notify.signal import CAUTION, told, ward_signal
from collector.reading import iso_utc
from collector.rules.alarms import Alarm, AlarmBoard
from collector.rules.lifecycle import State
from collector.rules.unitrow import RUNNING, SILENT, UnitRow
from collector.site import parse_site

AT_MS = 1_790_000_000_000
SITE = parse_site(
    '[facility]\nid="sim-s"\n[[ward]]\nid="w"\nname="Long ward"\n[[ward]]\nid="v"\n'
    '[[unit]]\nid="u1"\nward="w"\n[[unit]]\nid="u2"\nward="w"\n[[unit]]\nid="u3"\nward="w"\n'
)
ROWS = [UnitRow(unit="u1", phase=RUNNING), UnitRow(unit="u2", phase=RUNNING), UnitRow(unit="u3", phase=SILENT)]


def alarm(unit: str = "u1", condition: str = "purity-red", **fields) -> Alarm:
    usual: dict[str, Any] = {"ward": "w", "state": State.UNACKNOWLEDGED, "active": True, "priority": "high",
             "audience": ("ward", "engineer"), "raised_ms": AT_MS - 60_000, "action": "Change over."}  # fmt: skip
    return Alarm(unit=unit, condition=condition, **(usual | fields))


def signal(*alarms: Alarm, removed: tuple[str, ...] = ()) -> dict:
    return ward_signal(SITE, SITE.ward("w"), AlarmBoard(alarms, removed), ROWS, AT_MS, 7)


def test_a_calm_ward():
    assert signal() == {
        "v": 1, "facility": "sim-s", "ward": "w", "name": "Long ward", "simulated": True, "at": iso_utc(AT_MS),
        "seq": 7, "calm": True, "alerts": [], "counts": {"running": 2, "silent": 1}, "caution": CAUTION,
    }  # fmt: skip


def test_an_alert_says_what_where_since_when_and_what_to_do():
    (alert,) = signal(alarm(cause="sieve-worn", forecast={"red_in_min": {"p50": 12.0}}))["alerts"]
    assert alert == {
        "unit": "u1", "condition": "purity-red", "title": "Unit output very low", "priority": "high",
        "state": "unacknowledged", "cause": "sieve-worn", "action": "Change over.", "since": iso_utc(AT_MS - 60_000),
        "forecast": {"red_in_min": {"p50": 12.0}},
    }  # fmt: skip


def test_worst_first_then_oldest_first():
    found = signal(
        alarm("u1", "purity-amber", priority="medium"),
        alarm("u2", raised_ms=AT_MS - 10_000),
        alarm("u3", raised_ms=AT_MS - 90_000),
        alarm("u1", "supply-poor", priority="low"),
    )["alerts"]
    assert [(a["unit"], a["priority"]) for a in found] == [
        ("u3", "high"), ("u2", "high"), ("u1", "medium"), ("u1", "low"),
    ]  # fmt: skip


def test_what_is_held_gone_elsewhere_or_for_others_is_not_told():
    found = signal(
        alarm("u1", state=State.SHELVED),
        alarm("u2", state=State.SUPPRESSED),
        alarm("u3", state=State.OUT_OF_SERVICE),
        alarm("u1", "purity-amber", active=False, state=State.RETURNED),
        alarm("u9", ward="v"),
        alarm("u2", "capacity-falling", audience=("engineer", "planner")),
    )
    assert found["alerts"] == []
    assert found["calm"] is True


def test_who_acknowledged_is_said_and_the_alert_stays():
    found = signal(alarm(state=State.ACKNOWLEDGED, acked_by="Charge nurse", acked_ms=AT_MS))
    assert found["calm"] is False
    assert found["alerts"][0]["acknowledged_by"] == "Charge nurse"


def test_a_unit_out_of_service_is_counted_as_that():
    assert signal(removed=("u1",))["counts"] == {"out-of-service": 1, "running": 1, "silent": 1}


def test_a_ward_alarm_has_no_unit_and_names_those_it_speaks_for():
    (alert,) = signal(alarm("", "readings-absent", evidence={"units": ["u1", "u2"], "units_lost": 2}))["alerts"]
    assert (alert["unit"], alert["units"]) == ("", ["u1", "u2"])


def test_the_time_and_the_place_in_the_journal_are_not_news():
    first = ward_signal(SITE, SITE.ward("w"), AlarmBoard(), ROWS, AT_MS, 7)
    later = ward_signal(SITE, SITE.ward("w"), AlarmBoard(), ROWS, AT_MS + 5_000, 9)
    assert first != later
    assert told(first) == told(later)
    assert told(first) != told(signal(alarm()))


def test_it_is_json_and_never_speaks_of_a_patients_state():
    text = msgspec.json.encode(signal(alarm())).decode()
    assert "patient is" not in text
    assert "Watches machines, not patients" in text
