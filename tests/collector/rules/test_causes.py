"""Each cause is named from its signs with its evidence in words; what contradicts itself is "unknown"."""

import pytest

from collector.rules import causes
from collector.rules.capacity.belief import Belief, new_belief
from collector.rules.capacity.estimate import mean_of
from collector.rules.capacity.signs import Line, Signs
from collector.rules.catalogue import CAUSES
from collector.rules.limits import DAY, HOUR
from collector.rules.memory import Tracked
from collector.site import Model, Unit, Ward
from tests.collector.rules.made import Bed

NOW = 1_790_000_000_000


def unit(flow_lpm: float = 4.0, volts: float = 230.0) -> Tracked:
    found = Tracked(Unit(id="u", ward="w", model="five"), Model(id="five"), Ward(id="w"))
    found.row.flow_lpm, found.row.volts, found.last_ms = flow_lpm, volts, NOW
    return found


def belief(third_gone_h: float | None, **signs: float) -> Belief:
    """A unit known for days, whose capacity falls by a third in so many hours (None: that was not watched)."""
    known = Line(s=500.0, sx=2000.0, sy=170_000.0, sxx=8000.0, sxy=680_000.0, n=500)
    found = new_belief(5.0)
    found.signs = Signs(power=known, pressure=known, temp=known, watched_h=100.0)
    for name, value in signs.items():
        setattr(found.signs, name, value)
    if third_gone_h is not None:
        found.top_c, found.top_ms = mean_of(found.estimate)[0] + 0.33, NOW - round(third_gone_h * HOUR)
    return found


WEIGHED = {
    "sieve-worn": belief(400.0),
    "sieve-wet": belief(8.0),
    "intake-blocked": belief(20.0, power_off=-0.05, power_day=-0.04, pressure_off=-0.12, temp_off_k=9.0, warm_k=9.0),
    "compressor-weak": belief(60.0, power_off=-0.18, power_day=-0.15, pressure_off=-0.25),
    "valve-fault": belief(0.3, power_off=0.15, pressure_off=-0.25),
}
PROVED = {
    "supply-voltage-low": belief(8.0, volts_off=-0.14),
    "leak": belief(8.0, ran_off=-0.12),
    "sensor-fault": belief(None, jump_pct=-6.0, jump_ms=NOW - HOUR),
    "valve-fault": belief(0.3, valve_ms=NOW - HOUR, power_off=0.12),
}


@pytest.mark.parametrize("cause", WEIGHED)
def test_a_cause_is_named_from_its_signs(cause: str) -> None:
    named, why = causes.name_cause(unit(), WEIGHED[cause], NOW)
    assert (named, cause in CAUSES) == (cause, True)
    assert any(word.startswith("a third of capacity goes in") for word in why)
    assert [any(word.startswith(name) for word in why) for name in ("power", "pressure", "cabinet")] == [True] * 3


@pytest.mark.parametrize("cause", PROVED)
def test_what_proves_a_cause_comes_before_what_only_fits_one(cause: str) -> None:
    named, why = causes.name_cause(unit(), PROVED[cause], NOW)
    assert named == cause
    assert len(why) == 1


def test_more_flow_than_rated_is_said_before_everything_else() -> None:
    named, why = causes.name_cause(unit(flow_lpm=6.2), PROVED["leak"], NOW)
    assert (named, why) == ("flow-above-rated", ("flow is 6.2 L/min, rated 5 L/min",))


def test_a_jump_of_power_days_ago_proves_nothing_now() -> None:
    assert causes.name_cause(unit(), belief(0.3, valve_ms=NOW - 2 * DAY), NOW)[1][0].startswith("a third of capacity")


def test_the_evidence_has_the_numbers_in_it() -> None:
    why = causes.name_cause(unit(), WEIGHED["intake-blocked"], NOW)[1]
    assert why == (
        "a third of capacity goes in 20 h",
        "power -5 % against its normal at this flow",
        "pressure -12 % against its normal at this flow",
        "cabinet +9 K against its normal at this flow",
    )


def test_a_sign_within_the_usual_is_said_to_be_so() -> None:
    assert "power as usual" in causes.name_cause(unit(), WEIGHED["sieve-worn"], NOW)[1]


@pytest.mark.parametrize(("hours", "words"), [(0.5, "30 min"), (20, "20 h"), (240, "10 days")])
def test_a_pace_is_said_as_people_say_it(hours: float, words: str) -> None:
    assert causes.name_cause(unit(), belief(hours), NOW)[1][0 if hours != 0.5 else -4].endswith(words)


def test_between_two_causes_the_honest_word_is_unknown() -> None:
    """From dry wear's pace to wet's there is a pace at which neither is clearly likelier."""
    paces = [3.0 * 1.1**step for step in range(50)]
    named = [causes.name_cause(unit(), belief(pace), NOW)[0] for pace in paces]
    assert named[0] == "sieve-wet"
    assert named[-1] == "sieve-worn"
    assert "unknown" in named
    assert sorted(set(named), key=named.index) == ["sieve-wet", "unknown", "sieve-worn"]


def test_what_is_not_measured_is_not_named() -> None:
    bare = belief(8.0)
    bare.signs = Signs()
    why = causes.name_cause(unit(), bare, NOW)[1]
    assert not any(word.startswith(("power", "pressure", "cabinet")) for word in why)


def known_for_a_day(**values: float) -> Bed:
    bed = Bed(every_s=30)
    bed.run(24 * 60, capacity_lpm=6.0, pressure_kpa=140.0, **values)
    return bed


COURSES: dict[str, tuple[float, dict[str, float | tuple[float, float]]]] = {
    "sieve-wet": (20, {"capacity_lpm": (6.0, 3.6), "pressure_kpa": 140.0}),
    "intake-blocked": (20, {"capacity_lpm": (6.0, 3.6), "pressure_kpa": (140.0, 122.0), "temp_c": (31.0, 42.0),
                            "power_w": (340.0, 320.0)}),
    "compressor-weak": (72, {"capacity_lpm": (6.0, 3.6), "pressure_kpa": (140.0, 100.0), "power_w": (340.0, 270.0)}),
    "leak": (6, {"capacity_lpm": (6.0, 3.3), "pressure_kpa": 140.0, "flow_lpm": (4.0, 3.3)}),
    "supply-voltage-low": (4, {"capacity_lpm": (4.2, 3.7), "pressure_kpa": 140.0, "volts": 200.0}),
    "flow-above-rated": (3, {"capacity_lpm": 5.4, "pressure_kpa": 140.0, "flow_lpm": 6.0}),
}  # fmt: skip


@pytest.mark.parametrize("cause", COURSES)
def test_the_cause_is_right_by_the_time_it_matters(cause: str) -> None:
    bed = known_for_a_day()
    hours, values = COURSES[cause]
    bed.run(hours * 60, **values)
    low = [event for event in bed.events if event.condition in ("purity-amber", "purity-red", "shutdown-expected")]
    assert low
    assert low[-1].cause == cause


def test_a_valve_is_named_within_minutes() -> None:
    bed = known_for_a_day()
    bed.every_s = 10
    bed.run(60, capacity_lpm=6.0, pressure_kpa=140.0)
    bed.run(15, capacity_lpm=(6.0, 2.4), pressure_kpa=100.0, power_w=400.0)
    bed.run(0.5, purity_pct=50.0, flow_lpm=0.0, power_w=5.0)
    assert bed.said("purity-shutdown")[0].cause == "valve-fault"


class TestAnalyserThatSteps:
    """Purity steps to 81 % and stays; flow, power, pressure and supply do nothing."""

    def stepped(self, after_min: float = 0.0) -> Bed:
        bed = known_for_a_day()
        bed.every_s = 10
        bed.run(60 + after_min, capacity_lpm=6.0, pressure_kpa=140.0)
        bed.run(120, purity_pct=81.0, pressure_kpa=140.0)
        return bed

    def test_a_suspected_analyser_silences_nothing(self) -> None:
        bed = self.stepped()
        for condition in ("purity-amber", "purity-red"):
            assert bed.moves(condition)[0] == "raised"
            assert "cleared" not in bed.moves(condition)

    @pytest.mark.parametrize("after_min", [0.0, 2.0, 5.0, 8.0])
    def test_it_is_suspected_wherever_in_a_mean_it_falls(self, after_min: float) -> None:
        event = self.stepped(after_min).first("sensor-suspect")
        assert event is not None
        assert event.cause == "sensor-fault"

    @pytest.mark.parametrize(
        "pct_per_min",
        [
            0.1,
            0.2,
            0.3,
            0.4,
            0.6,
            1.0,
            2.0,
        ],
    )
    def test_a_unit_that_goes_on_falling_is_not_put_down_to_its_analyser(self, pct_per_min: float) -> None:
        bed = known_for_a_day()
        bed.run(24 / pct_per_min, purity_pct=(94.0, 70.0), pressure_kpa=140.0)
        assert bed.said("sensor-suspect") == []
        assert "sensor-fault" not in {event.cause for event in bed.events}
