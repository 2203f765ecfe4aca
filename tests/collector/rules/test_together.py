"""Several units that fall for one cause: each alarm stands, and names the others and what they share."""

import pytest

from collector.rules.capacity.signs import Line
from collector.rules.events import CLEARED, RAISED, Event
from collector.rules.limits import HOUR, LIMITS
from collector.rules.memory import Shared, Tracked, Watch
from collector.rules.together import room_warmth_k, tell_shared
from collector.rules.unitrow import RUNNING
from collector.site import Model, Unit, Ward

NOW = 1_790_000_000_000
WARD = Ward(id="w")


def tracked(name: str, *, warm_k: float = 0.0, volts_off: float = 0.0, told: dict[str, Watch] | None = None) -> Tracked:
    unit = Tracked(Unit(id=name, ward="w", model="five"), Model(id="five"), WARD)
    unit.row.phase = RUNNING
    signs = unit.belief.signs
    signs.watched_h, signs.temp, signs.warm_k, signs.volts_off = 100.0, Line(n=100), warm_k, volts_off
    unit.memory.watches.update(told or {})
    return unit


def falling(raised_h: float = -1.0, cause: str = "unknown") -> dict[str, Watch]:
    at_ms = NOW + int(raised_h * HOUR)
    return {"shutdown-expected": Watch(at_ms, raised_ms=at_ms, cause=cause)}


def said(unit: Tracked, *others: Tracked, cause: str = "unknown", what: str = RAISED, why: list[str] | None = None):
    event = Event(time_ms=NOW, unit=unit.id, ward="w", event=what, condition="capacity-falling", priority="low",
                  audience=("engineer",), cause=cause, evidence={"why": why or []})  # fmt: skip
    events = [event]
    tell_shared(events, unit, [unit, *others], LIMITS)
    return events[0].evidence


def test_a_hot_room_is_told_with_the_others_that_fall() -> None:
    a, b, c = tracked("a", warm_k=8), tracked("b", warm_k=7, told=falling()), tracked("c", warm_k=4)
    assert said(a, b, c, why=["cabinet +8 K"]) == {
        "shared": "heat",
        "together_with": ["b"],
        "why": ["cabinet +8 K", "the cabinets of b are warm too, as are the ward's others: heat of the room"],
    }


def test_two_clogged_intakes_in_a_cool_ward_are_two_matters() -> None:
    a, b = tracked("a", warm_k=8), tracked("b", warm_k=9, told=falling())
    assert "shared" not in said(a, b, tracked("c"), tracked("d", warm_k=0.5))


def test_a_low_supply_is_told_with_the_others() -> None:
    a, b = tracked("a", volts_off=-0.12), tracked("b", told=falling(cause="supply-voltage-low"))
    sagging = tracked("c", told=falling())
    sagging.memory.shared["supply-poor"] = Shared(NOW - HOUR, "w")
    assert said(a, b, sagging, tracked("d", told=falling()))["together_with"] == ["b", "c"]


def test_wet_sieves_are_told_with_each_other_only() -> None:
    a, b, c = tracked("a"), tracked("b", told=falling(cause="sieve-wet")), tracked("c", told=falling(cause="leak"))
    found = said(a, b, c, cause="sieve-wet")
    assert (found["shared"], found["together_with"]) == ("sieve-wet", ["b"])


@pytest.mark.parametrize("raised_h", [-7.0, 0.0, 1.0])
def test_what_fell_long_ago_or_is_told_only_now_is_no_company(raised_h: float) -> None:
    assert "shared" not in said(tracked("a"), tracked("b", told=falling(raised_h, "sieve-wet")), cause="sieve-wet")


def test_no_company_no_word_and_nothing_on_what_has_ended() -> None:
    wet = tracked("b", told=falling(cause="sieve-wet"))
    assert "shared" not in said(tracked("a"), tracked("b"), cause="sieve-wet")
    assert "shared" not in said(tracked("a"), wet, cause="leak")
    assert "shared" not in said(tracked("a"), wet, cause="sieve-wet", what=CLEARED)


@pytest.mark.parametrize(
    ("warm_k", "room_k"),
    [
        ([8, 8], 0.0),  # two units: two clogged intakes as likely as a hot room
        ([8, 8, 0], 0.0),
        ([8, 7, 9], 7.0),
        ([8, 7, 9, 6, 0], 6.0),  # one stands at the window
        ([9, 9, 9, 0, 0, 1, 0, 0], 0.0),
        ([-4, -3, -5, -4], 0.0),
    ],
)
def test_the_room_is_what_nearly_all_units_are_warmer_by(warm_k: list[float], room_k: float) -> None:
    ward = [tracked(f"u{n}", warm_k=value) for n, value in enumerate(warm_k)]
    off = tracked("off", warm_k=-20)
    off.row.phase = "off"
    assert room_warmth_k([*ward, off]) == room_k
