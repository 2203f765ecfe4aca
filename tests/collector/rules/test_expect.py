"""What is said of capacity, when, how urgently, and when it is taken back: whole courses of one unit at its bed."""

import pytest

from collector.rules.catalogue import ENGINEER, PLANNER, WARD
from collector.rules.events import PRIORITIES, Event
from collector.rules.limits import DAY, HOUR, MINUTE
from tests.collector.rules.made import Bed
from tests.scenario_files import START_MS

OUTPUT = ("shutdown-expected", "capacity-falling", "purity-amber", "purity-red")


def fallen(hours: float, every_s: int = 10, to_lpm: float = 3.4) -> Bed:
    """A unit that was well for six hours and then falls at 4 L/min, through amber at the last."""
    bed = Bed(every_s=every_s)
    bed.run(6 * 60, capacity_lpm=6.0)
    bed.run(hours * 60, capacity_lpm=(6.0, to_lpm))
    return bed


def raisings(bed: Bed, condition: str) -> int:
    return bed.moves(condition).count("raised")


def when(event: Event | None) -> int:
    assert event is not None
    return event.time_ms


@pytest.mark.parametrize(("hours", "every_s"), [(4, 10), (8, 10), (24, 60), (72, 60)])
def test_a_steady_fall_is_told_to_the_ward_before_amber(hours: float, every_s: int) -> None:
    bed = fallen(hours, every_s)
    expected, amber = bed.first("shutdown-expected"), bed.first("purity-amber")
    assert expected is not None
    assert WARD in expected.audience
    assert when(amber) - when(expected) >= 30 * MINUTE
    assert expected.forecast is not None
    assert expected.capacity_lpm is not None
    assert "Do not turn it up" in expected.action


def test_it_gets_more_urgent_as_time_runs_out_and_never_less() -> None:
    bed = fallen(8)
    ranks = [PRIORITIES.index(event.priority) for event in bed.said("shutdown-expected")]
    assert ranks[0] < 2
    assert ranks == sorted(ranks)
    assert ranks[-1] == 2
    assert raisings(bed, "shutdown-expected") == 1


def repaired() -> Bed:
    bed = fallen(8)
    bed.run(10, purity_pct=21.0, flow_lpm=0.0, power_w=5.0)
    bed.run(8 * 60, capacity_lpm=8.0)
    bed.every_s = 60
    bed.run(3 * 1440, capacity_lpm=8.0, flow_lpm=5.0)
    return bed


def test_what_was_told_to_the_ward_is_taken_back_once_the_unit_is_repaired() -> None:
    bed = repaired()
    for condition in ("shutdown-expected", "purity-amber", "purity-red"):
        assert bed.moves(condition)[-1] == "cleared", condition
        assert raisings(bed, condition) == 1, condition


def test_capacity_falling_is_taken_back_once_rated_flow_has_been_held_for_days() -> None:
    assert repaired().moves("capacity-falling")[-1] == "cleared"


@pytest.mark.parametrize("capacity_lpm", [3.9, 4.05, 4.15, 4.3, 4.6])
def test_nothing_chatters_at_an_edge(capacity_lpm: float) -> None:
    """A day with a coarse analyser, where purity or the forecast lies just at a limit."""
    bed = Bed(noise_pct=0.3)
    bed.run(6 * 60, capacity_lpm=7.0)
    bed.run(24 * 60, capacity_lpm=capacity_lpm)
    for condition in OUTPUT:
        raised = [event.time_ms for event in bed.said(condition) if event.event == "raised"]
        assert len(raised) <= 2, condition


def test_an_overdraw_of_minutes_is_no_forecast() -> None:
    bed = Bed()
    bed.run(5 * 60, capacity_lpm=6.0)
    bed.run(4, purity_pct=(94.0, 84.5), flow_lpm=6.5)
    bed.run(6, purity_pct=84.5, flow_lpm=6.5)
    bed.run(2 * 60, capacity_lpm=6.0)
    assert bed.first("purity-amber") is not None
    assert bed.said("shutdown-expected") + bed.said("capacity-falling") == []


def test_a_fall_that_has_stopped_in_amber_does_not_go_through_it() -> None:
    bed = Bed()
    bed.run(5 * 60, capacity_lpm=6.0)
    bed.run(5, purity_pct=84.0)
    bed.run(60, capacity_lpm=6.0)
    assert [event for event in bed.said("shutdown-expected") if event.priority == "high"] == []


def test_a_sag_of_minutes_is_no_forecast() -> None:
    bed = Bed()
    bed.run(5 * 60, capacity_lpm=6.0)
    bed.run(12, capacity_lpm=4.3, volts=195.0, power_w=290.0)
    bed.run(2 * 60, capacity_lpm=6.0)
    assert bed.first("supply-poor") is not None
    assert bed.said("shutdown-expected") + bed.said("capacity-falling") == []


def test_a_healthy_unit_with_patients_changing_has_nothing_said_of_it() -> None:
    bed = Bed(noise_pct=0.3)
    for flow in (2.0, 4.0, 1.0, 5.0, 3.0, 0.5, 4.5) * 3:
        bed.run(90, flow_lpm=flow, capacity_lpm=7.0)
    assert bed.events == []


def test_a_unit_that_would_fail_if_turned_up_says_so_to_the_ward_before_anybody_does() -> None:
    bed = Bed()
    bed.run(5 * 60, capacity_lpm=4.5, flow_lpm=1.5)
    bed.run(8 * 60, capacity_lpm=4.5)
    (event,) = bed.said("capacity-falling")
    assert event.audience == (WARD, ENGINEER, PLANNER)
    assert event.action.startswith("Good to 4 L/min: do not turn up, change over first.")
    assert event.evidence["good_to_lpm"] == 4.0
    assert bed.said("shutdown-expected") == []
    now, up = bed.engine.outlook(bed.unit), bed.engine.outlook(bed.unit, 5.0)
    assert now is not None
    assert up is not None
    assert up.amber_in_min["p50"] == 0.0
    assert now.amber_in_min["p50"] is None or now.amber_in_min["p50"] > 24 * 60


def test_the_flow_that_is_named_is_never_more_than_the_unit_holds() -> None:
    for capacity in (2.6, 3.3, 3.9, 4.4):
        bed = Bed()
        bed.run(5 * 60, capacity_lpm=7.0, flow_lpm=0.95 * capacity)
        bed.run(6 * 60, capacity_lpm=capacity, flow_lpm=0.95 * capacity)
        named = when_falling(bed)
        assert named * 2 == int(named * 2), "what a flow meter can be set to"
        assert capacity - 1.0 < named <= capacity


def when_falling(bed: Bed) -> float:
    event = bed.first("capacity-falling")
    assert event is not None
    return float(str(event.evidence["good_to_lpm"]))


class TestUnproven:
    """A unit that runs at low flow for weeks: nobody knows what it could do."""

    def weeks(self, days: float, **flow: float) -> Bed:
        bed = Bed(every_s=110)
        bed.run(days * 1440, **flow)
        return bed

    def test_it_is_said_after_thirty_days_and_not_before(self) -> None:
        bed = self.weeks(31, flow_lpm=1.0)
        (event,) = bed.events
        assert (event.condition, event.audience) == ("capacity-unproven", (ENGINEER, PLANNER))
        assert 30 * DAY <= event.time_ms - START_MS < 30 * DAY + HOUR
        assert event.action == "Not seen to hold 5 L/min for 30 days. Check purity at rated flow."

    def test_three_minutes_at_rated_flow_end_it(self) -> None:
        bed = self.weeks(30.5, flow_lpm=1.0)
        bed.every_s = 10
        bed.run(3.5, flow_lpm=5.0, capacity_lpm=8.0)
        bed.run(30, flow_lpm=1.0)
        assert bed.moves("capacity-unproven") == ["raised", "cleared"]

    @pytest.mark.parametrize(("flow_lpm", "minutes"), [(3.0, 30.0), (5.0, 2.5)])
    def test_less_flow_or_less_time_does_not(self, flow_lpm: float, minutes: float) -> None:
        bed = self.weeks(30.5, flow_lpm=1.0)
        bed.every_s = 10
        bed.run(minutes, flow_lpm=flow_lpm, capacity_lpm=8.0)
        bed.run(30, flow_lpm=1.0)
        assert bed.moves("capacity-unproven") == ["raised"]

    def test_a_check_with_a_reference_analyser_ends_it_too(self) -> None:
        bed = self.weeks(30.5, flow_lpm=1.0)
        body = {"as_left_pct": 93.0, "uncertainty_pct": 1.0, "flow_lpm": 5.0, "result": "pass"}
        assert bed.engine.note_proof(bed.unit, body, bed.time_ms - 1000)
        bed.run(60, flow_lpm=1.0)
        assert bed.moves("capacity-unproven") == ["raised", "cleared"]

    def test_a_unit_that_is_seen_at_rated_flow_now_and_then_is_never_unproven(self) -> None:
        bed = Bed(every_s=110)
        for _ in range(4):
            bed.run(20 * 1440, flow_lpm=1.0)
            bed.run(15, flow_lpm=5.0, capacity_lpm=8.0)
        assert bed.events == []
