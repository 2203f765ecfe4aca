"""What befalls a whole ward, played by the simulator with its usual noise, is told together by the rules."""

import pytest

from collector.rules import engine as engine_module
from collector.rules.engine import RulesEngine
from collector.rules.events import Event
from tests.simulator.fleets import HOUR, T0, fault, fleet, site, unit

WARD = [f"u{number}" for number in range(1, 6)]
SITE = site(*(unit(name) for name in WARD))
BEGIN = "[scenario]\nflow_changes = false\n" + "".join(
    f'[[unit]]\nid = "{name}"\nflow_lpm = 4.0\ncapacity_share = 1.25\nceiling_pct = 95.0\nknee = 22\n' for name in WARD
)
#: As sensors would see a room that gets 9 K warmer within two hours.
HOT_ROOM = fault("sensor-drift", "60h", ward="a", size=9.0, quantity="temp_c", rise="2h")


def told(story: str, hours: float, every_ms: int = 10_000, seed: int = 3) -> list[Event]:
    engine, events, ticked_ms = RulesEngine(SITE), [], 0
    for r in fleet(BEGIN + story, SITE, seed).readings(T0, T0 + int(hours * HOUR), every_ms):
        events += engine.read(r, r.time_ms)
        if r.time_ms - ticked_ms > 5_000:
            ticked_ms = r.time_ms
            events += engine.tick(ticked_ms - 2_000)
    return events


def outline(events: list[Event]) -> list[tuple[str, str, str]]:
    return [(e.event, e.unit or e.ward, e.condition) for e in events]


@pytest.mark.parametrize("size", [-3.0, 3.0])
def test_an_analyser_that_several_units_share_shifts_and_is_told_once(size: float) -> None:
    events = told(fault("sensor-drift", "2h", units=WARD[:3], size=size, length="2h"), 5)
    assert outline(events) == [("raised", "a", "sensor-suspect"), ("cleared", "a", "sensor-suspect")]
    assert (events[0].evidence["units"], events[0].cause) == (WARD[:3], "sensor-fault")


def test_a_ward_s_sag_is_told_once() -> None:
    events = told(fault("supply-sag", "1h", ward="a", size=0.13, length="1h"), 3)
    assert [row for row in outline(events) if row[2] == "supply-poor"] == [
        ("raised", "a", "supply-poor"),
        ("cleared", "a", "supply-poor"),
    ]
    assert events[0].cause == "supply-voltage-low"


def test_a_hot_room_is_not_five_blocked_intakes(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told(HOT_ROOM, 90, 60_000) == []
    monkeypatch.setattr(engine_module, "room_warmth_k", lambda _ward: 0.0)
    taken_for_theirs = outline(told(HOT_ROOM, 90, 60_000))
    assert {("raised", name, "capacity-falling") for name in WARD} <= set(taken_for_theirs)


@pytest.mark.parametrize(("room", "shared"), [(HOT_ROOM, "heat"), ("", None)], ids=["hot", "cool"])
def test_two_that_fall_in_a_hot_room_say_so_and_each_is_told(room: str, shared: str | None) -> None:
    worn = fault("sieve-worn", "61h", "u1", size=0.5, rise="10h") + fault(
        "sieve-worn", "63h", "u2", size=0.5, rise="10h"
    )
    events = told(room + worn, 74, 60_000)
    expected = [e for e in events if (e.event, e.condition) == ("raised", "shutdown-expected")]
    assert [e.unit for e in expected] == ["u1", "u2"]
    assert [e.evidence.get("shared") for e in expected] == [None, shared]
    assert {e.cause for e in expected} <= {"sieve-worn", "sieve-wet", "unknown"}
    if shared:
        assert expected[1].evidence["together_with"] == ["u1"]
