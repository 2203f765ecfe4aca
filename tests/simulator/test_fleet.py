"""A fleet gives the same data whatever is asked for first, in order, and its past goes over into its present."""

import itertools
import math

import pytest

from collector.reading import fault_in
from simulator.fleet import Fleet
from simulator.history import backfill
from simulator.scenario import load_scenario
from tests.simulator.fleets import EXACT, HOUR, MINUTE, T0, exact, fault, fleet, site, unit

EVENTFUL = "".join([
    fault("sieve-worn", "-2d", rise="3d", size=0.3),
    fault("unit-switched-off", "30m", length="10m"),
    fault("sensor-stuck", "50m", unit_id="u2", length="20m"),
    fault("supply-cut", "1h20m", ward="b", length="5m"),
    fault("meter-reset", "1h30m", unit_id="u3"),
])  # fmt: skip
FOUR = site(unit("u1"), unit("u2"), unit("u3"), unit("u4", "b"))


def eventful(**more):
    return fleet(EVENTFUL, FOUR, **more)


def test_a_run_from_any_moment_gives_the_same_data():
    whole = list(eventful().readings(T0, T0 + 2 * HOUR))
    for minutes in (0.1, 29, 31, 55, 61, 82, 119):
        start = T0 + round(minutes * MINUTE)
        again = list(eventful().readings(start, T0 + 2 * HOUR))
        late_in_whole = [reading for due, reading in eventful().timed(T0, T0 + 2 * HOUR) if due >= start]
        assert again == late_in_whole
    assert len(whole) > 2500


def test_many_short_stretches_make_the_same_as_one_long_one():
    one = eventful()
    edges = [T0, *(T0 + i * 77_777 for i in range(1, 93)), T0 + 2 * HOUR]
    parts = [list(one.readings(a, b)) for a, b in itertools.pairwise(edges)]
    assert list(itertools.chain(*parts)) == list(eventful().readings(T0, T0 + 2 * HOUR))


def test_going_back_gives_the_same_again():
    one = eventful()
    first = list(one.readings(T0, T0 + HOUR))
    assert list(one.readings(T0, T0 + HOUR)) == first


def test_two_readers_of_one_fleet_do_not_disturb_each_other():
    one = eventful()
    together = list(zip(one.readings(T0, T0 + HOUR), one.readings(T0, T0 + HOUR), strict=True))
    assert all(a == b for a, b in together)


def test_another_seed_gives_other_data():
    assert list(eventful(seed=1).readings(T0, T0 + MINUTE)) != list(eventful(seed=2).readings(T0, T0 + MINUTE))


def test_readings_come_in_the_order_of_their_moments_each_unit_at_its_own():
    due = list(eventful().timed(T0, T0 + HOUR))
    moments = [due_ms for due_ms, _ in due]
    assert moments == sorted(moments)
    assert all(due_ms == reading.time_ms for due_ms, reading in due)
    phases = {reading.unit: due_ms % 10_000 for due_ms, reading in due}
    assert len(set(phases.values())) == 4
    assert all(due_ms % 10_000 == phases[reading.unit] for due_ms, reading in due)


def test_every_reading_is_plausible():
    assert [fault_in(reading) for reading in eventful().readings(T0, T0 + 2 * HOUR) if fault_in(reading)] == []


def test_thinned_readings_are_the_ones_of_those_moments():
    dense = {(r.unit, r.time_ms): r for r in eventful().readings(T0, T0 + 2 * HOUR)}
    thin = list(eventful().readings(T0, T0 + 2 * HOUR, 60_000))
    assert len(thin) == pytest.approx(4 * 120, abs=4)
    assert [r for r in thin if dense.get((r.unit, r.time_ms), r) != r] == []


def test_a_past_goes_over_into_the_present():
    """Three days of a wearing sieve, thinned, and then live from the same fleet, as if there had been no seam."""
    scenario = EXACT + '[[unit]]\nid = "u1"\nflow_lpm = 5.0\ncapacity_share = 1.2\n'
    scenario += fault("sieve-worn", "-3d", rise="3d12h", size=0.3)
    one = fleet(scenario, start_ms=T0 - 72 * HOUR, story_ms=T0)
    past = list(backfill(one, T0 - 72 * HOUR, T0))
    live = list(itertools.islice(one.readings(T0), 2000))
    assert len(past) == 72 * 60
    assert (past[0].purity_pct or 0) > 92 > (past[-1].purity_pct or 100)
    assert live[0].purity_pct == pytest.approx(past[-1].purity_pct, abs=0.2)
    assert live[-1].purity_pct < live[0].purity_pct
    assert 0 < live[0].time_ms - past[-1].time_ms <= 60_000
    assert live[0].hours_h - past[0].hours_h == pytest.approx(72, abs=0.11)


def test_a_warm_up_takes_its_time():
    one = exact(fault("unit-switched-off", "10m", length="30m"))
    seen = [r.purity_pct for r in one.readings(T0, T0 + 2 * HOUR)]
    cold = min(range(len(seen)), key=seen.__getitem__)
    steady = seen[0]
    assert seen[cold] == pytest.approx(20.9, abs=0.1)
    back = next(i for i in range(cold, len(seen)) if seen[i] >= 20.9 + 0.9 * (steady - 20.9))
    started = next(i for i in range(cold, len(seen)) if seen[i] > 21.5)
    assert 3 * 6 < back - started < 10.5 * 6
    assert seen[-1] == pytest.approx(steady, abs=0.1)


def test_a_unit_switches_itself_off_and_stays_off():
    readings = list(exact(fault("compressor-weak", "5m", rise="30m", size=0.8)).readings(T0, T0 + 2 * HOUR))
    off = next(i for i, r in enumerate(readings) if r.power_w < 10)
    assert readings[off - 1].purity_pct < 70
    low = next(i for i, r in enumerate(readings) if r.purity_pct < 70)
    assert 50_000 <= readings[off].time_ms - readings[low].time_ms <= 90_000
    assert all(r.flow_lpm == 0 and r.power_w == 4 and r.volts > 200 for r in readings[off:])
    assert readings[-1].purity_pct == pytest.approx(20.9, abs=0.1)
    assert readings[-1].hours_h == readings[off].hours_h


def test_units_out_of_service_do_not_report():
    two = site(unit("u1"), unit("u2", more="in_service = false"))
    one = fleet("", two)
    assert one.units == ("u1",)
    assert {r.unit for r in one.readings(T0, T0 + HOUR)} == {"u1"}


def test_the_hour_meter_has_run_since_the_day_in_service():
    one = fleet(EXACT, site(unit("u1", more="in_service = 2026-11-01\nhour_meter_h = 12.0")))
    first = next(one.readings(T0))
    days = (first.time_ms - 1_793_491_200_000) / (24 * HOUR)  # 2026-11-01T00:00Z
    assert first.hours_h == pytest.approx(12 + 24 * days, abs=0.1)


def test_no_units_give_no_readings():
    assert list(fleet("", site(unit("u1", more="in_service = false"))).readings(T0, T0 + HOUR)) == []


@pytest.mark.parametrize("every_ms", [5_000, 15_000, 0])
def test_a_spacing_that_is_no_multiple_of_the_step_is_refused(every_ms):
    with pytest.raises(ValueError, match="multiple of the fleet's step of 10000 ms"):
        fleet().readings(T0, T0 + HOUR, every_ms)


def test_a_moment_before_the_fleet_is_refused():
    with pytest.raises(ValueError, match="is before it"):
        fleet().readings(T0 - 1, T0)


def test_another_step_tells_the_same_story():
    slow = fleet(EXACT + EVENTFUL, FOUR, step_ms=60_000)
    quick = fleet(EXACT + EVENTFUL, FOUR, step_ms=1_000)
    a = [r for r in slow.readings(T0, T0 + HOUR) if r.unit == "u4"]
    b = {r.time_ms // 1000: r for r in quick.readings(T0, T0 + HOUR) if r.unit == "u4"}
    assert len(a) == 60
    gaps = [abs(r.purity_pct - b[r.time_ms // 1000].purity_pct) for r in a]
    assert max(gaps) < 0.3


def test_five_hundred_units_and_one(tmp_path):
    many = site(*(unit(f"u{i}", "ab"[i % 2]) for i in range(500)))
    readings = list(Fleet(many, load_scenario("calm", many), 1, T0).readings(T0, T0 + 10 * MINUTE))
    assert len({r.unit for r in readings}) == 500
    assert len(readings) == pytest.approx(500 * 60, rel=0.02)
    assert all(r.flow_lpm is None or r.flow_lpm <= 2.1 for r in readings if int(r.unit[1:]) % 2)


def test_lost_readings_and_blank_values_are_as_many_as_said():
    many = site(*(unit(f"u{i}") for i in range(100)))
    scenario = "[sensors]\nmissing_share = 0.05\nmissing_value_share = 0.02\n"
    readings = list(fleet(scenario, many).readings(T0, T0 + HOUR))
    assert 1 - len(readings) / (100 * 360) == pytest.approx(0.05, abs=0.01)
    assert sum(r.purity_pct is None for r in readings) / len(readings) == pytest.approx(0.02, abs=0.005)


def test_noise_is_as_large_as_said():
    scenario = EXACT.replace("purity_sd_pct = 0", "purity_sd_pct = 0.3").replace(
        "power_sd_share = 0", "power_sd_share = 0.02"
    )
    readings = list(fleet(scenario).readings(T0, T0 + 12 * HOUR))
    for field, sd in (("purity_pct", 0.3), ("power_w", 0.02 * readings[0].power_w)):
        values = [getattr(r, field) for r in readings]
        mean = sum(values) / len(values)
        assert math.sqrt(sum((v - mean) ** 2 for v in values) / len(values)) == pytest.approx(sd, rel=0.1)


def test_a_quantity_that_a_unit_does_not_measure_is_never_there():
    one = fleet('[[unit]]\nid = "u1"\nwithout = ["volts", "pressure_kpa"]\n')
    for reading in one.readings(T0, T0 + HOUR):
        assert reading.volts is None
        assert reading.pressure_kpa is None
        assert reading.lamp is None


def test_lamps_are_shown_when_the_scenario_has_them():
    lit = exact('[[fault]]\nkind = "supply-cut"\nunit = "u1"\nstart = "10m"\nlength = "2m"\n')
    assert {r.lamp for r in lit.readings(T0, T0 + HOUR)} == {None}
    scenario = "[scenario]\nlamp = true\n" + fault("compressor-weak", "5m", rise="60m", size=0.8)
    assert [lamp for lamp, _ in itertools.groupby(r.lamp for r in fleet(scenario).readings(T0, T0 + 3 * HOUR))] == [
        "green", "amber", "red", "off",
    ]  # fmt: skip
