"""From readings to what is known of capacity now: what is left out, what is told on demand, and falls of seconds."""

import pytest

from collector.rules.capacity.now import CapacityNow
from collector.rules.limits import MINUTE
from tests.collector.rules.made import Bed

STEEP = ("purity-red", "shutdown-expected")


def known(bed: Bed) -> CapacityNow:
    found = bed.engine.capacity_of(bed.unit)
    assert found is not None
    return found


def test_nothing_is_known_until_a_mean_is_complete() -> None:
    bed = Bed()
    bed.run(5)
    assert bed.engine.capacity_of(bed.unit) is None
    assert bed.engine.outlook(bed.unit) is None
    bed.run(25)
    assert bed.time_ms - known(bed).at_ms <= 10 * MINUTE


def test_on_the_plateau_only_a_lower_bound_is_known() -> None:
    bed = Bed()
    bed.run(300, flow_lpm=2.0)
    now = known(bed)
    assert (now.seen, now.good_to_lpm, now.fall_pct_per_day, now.outlook, now.cause) == (False, None, None, None, "")
    assert now.p05_lpm > 2.0
    assert bed.engine.outlook(bed.unit, 5.0) is None


def test_what_is_seen_comes_with_its_outlook_at_this_flow_and_at_larger_ones() -> None:
    bed = Bed()
    bed.run(300)
    bed.run(360, capacity_lpm=(6.0, 4.3))
    now = known(bed)
    assert now.seen
    assert now.outlook is not None
    assert now.p05_lpm < 4.3 < now.p95_lpm
    assert now.outlook.flow_lpm == pytest.approx(4.0, rel=0.01)
    assert [up.flow_lpm for up in now.turned_up] == [4.5, 5.0]
    assert bed.engine.outlook(bed.unit) == now.outlook
    assert bed.engine.outlook(bed.unit, 5.0) == now.turned_up[-1]


def test_less_flow_lasts_longer() -> None:
    bed = Bed()
    bed.run(300)
    bed.run(360, capacity_lpm=(6.0, 4.3))
    lasts = [bed.engine.outlook(bed.unit, flow) for flow in (2.0, 3.0, 4.0, 5.0)]
    middle = [1e9 if o is None or o.amber_in_min["p50"] is None else o.amber_in_min["p50"] for o in lasts]
    assert middle == sorted(middle, reverse=True)
    assert middle[0] > 2 * middle[2]


def test_the_forecast_of_a_steady_fall_holds_the_truth() -> None:
    """Half way down, the moment of amber lies between p05 and p95; capacity falls exponentially."""
    bed = Bed()
    bed.run(360, capacity_lpm=6.0)
    bed.run(300, capacity_lpm=(6.0, 4.5))
    now = known(bed)
    bed.run(600, capacity_lpm=(4.5, 2.0))
    amber = bed.first("purity-amber")
    assert amber is not None
    assert now.outlook is not None
    low, high = now.outlook.amber_in_min["p05"], now.outlook.amber_in_min["p95"]
    assert low is not None
    took_min = (amber.time_ms - now.at_ms) / MINUTE
    assert low < took_min
    assert high is None or took_min < high


@pytest.mark.parametrize(
    "values", [{"purity_pct": None}, {"purity_pct": 99.0}, {"purity_pct": 5.0}, {"flow_lpm": None}]
)
def test_what_is_not_measured_or_cannot_be_teaches_nothing(values: dict[str, float | None]) -> None:
    bed = Bed()
    bed.run(180)
    before = known(bed), list(bed.engine.estimates([bed.unit]))
    bed.run(60, **values)
    assert (known(bed), list(bed.engine.estimates([bed.unit]))) == before


def test_a_warm_up_teaches_nothing_bad() -> None:
    bed = Bed()
    bed.run(180)
    low = known(bed).p05_lpm
    for _ in range(6):
        bed.run(20, purity_pct=21.0, flow_lpm=0.0, power_w=5.0)
        bed.run(8, purity_pct=(40.0, 93.0))
        bed.run(60)
    assert known(bed).p05_lpm > 0.95 * low
    assert not known(bed).seen
    assert [e for e in bed.events if e.condition in ("capacity-falling", "shutdown-expected")] == []


@pytest.mark.parametrize("wild_pct", [20.9, 60.0, 84.0])
def test_one_wild_reading_now_and_then_is_no_alarm_and_no_capacity(wild_pct: float) -> None:
    bed = Bed()
    bed.run(180)
    for _ in range(8):
        bed.run(0.1, purity_pct=wild_pct)
        bed.run(20)
    assert bed.events == []
    assert not known(bed).seen


@pytest.mark.parametrize("pct_per_min", [9.0, 15.0, 30.0])
def test_a_fall_through_amber_within_a_minute_is_told_at_its_third_low_reading(pct_per_min: float) -> None:
    bed = Bed(noise_pct=0.05)
    bed.run(120)
    began_ms = bed.time_ms
    bed.run(3, purity_pct=(94.0, 94.0 - 3 * pct_per_min), power_w=380.0)
    first = min(event.time_ms for event in bed.events if event.condition in STEEP)
    under_ms = began_ms + (94.0 - 85.0) / pct_per_min * MINUTE
    assert first - under_ms <= 3 * bed.every_s * 1000


def test_a_fall_that_begins_as_flow_is_turned_up_is_told_at_its_first_low_reading() -> None:
    bed = Bed()
    bed.run(120, flow_lpm=2.0, capacity_lpm=3.0)
    turned_ms = bed.time_ms
    bed.run(2, purity_pct=75.0, flow_lpm=4.5)
    (event,) = [e for e in bed.events if e.condition in STEEP]
    assert event.time_ms == turned_ms
    assert event.priority == "high"


def test_a_slow_fall_in_amber_is_told_with_its_delays_only() -> None:
    bed = Bed(noise_pct=0.0)
    bed.run(20, purity_pct=86.0)
    began_ms = bed.time_ms
    bed.run(3, purity_pct=(86.0, 83.0))
    (event,) = bed.events
    assert event.condition == "purity-amber"
    assert event.time_ms >= began_ms + 2 * MINUTE


@pytest.mark.parametrize("every_s", [10, 30, 60])
def test_the_same_fall_is_seen_at_each_cadence(every_s: int) -> None:
    bed = Bed(every_s=every_s)
    bed.run(360, capacity_lpm=6.0)
    bed.run(300, capacity_lpm=(6.0, 4.3))
    assert known(bed).seen
    assert known(bed).p50_lpm == pytest.approx(4.35, rel=0.06)
