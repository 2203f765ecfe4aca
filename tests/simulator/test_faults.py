"""What each kind of fault looks like from outside, before, in and after it."""

import numpy as np
import pytest

from simulator.effects import _WORK
from simulator.faults import KINDS, Fault
from tests.simulator.fleets import HOUR, MINUTE, T0, at, exact, fault, fleet, site, unit

SENSOR_KINDS = {"sensor-stuck", "sensor-spike", "sensor-drift", "clock-offset", "meter-reset"}
# kind, size, and how purity, flow, power, temperature, voltage and pressure go: -1 falls, 0 stays, 1 rises.
SIGNATURES = [
    ("sieve-worn", 0.35, (-1, 0, 0, 0, 0, 0)),
    ("sieve-wet", 0.35, (-1, 0, 1, 0, 0, 0)),
    ("intake-blocked", 0.35, (-1, 0, -1, 1, 0, -1)),
    ("valve-fault", 0.35, (-1, 0, -1, 0, 0, -1)),
    ("compressor-weak", 0.35, (-1, 0, -1, 0, 0, -1)),
    ("leak", 1.9, (-1, 0, 0, 0, 0, -1)),
    ("supply-sag", 0.17, (-1, 0, 0, 0, -1, -1)),
    ("supply-cut", None, (-1, -1, -1, -1, -1, -1)),
    ("overdraw", 1.5, (-1, 1, 1, 1, 0, -1)),
    ("flow-change", 2.0, (0, -1, -1, -1, 0, 1)),
    ("tube-blocked", None, (0, -1, -1, -1, 0, 1)),
    ("unit-switched-off", None, (-1, -1, -1, -1, 0, -1)),
]
FIELDS = ("purity_pct", "flow_lpm", "power_w", "temp_c", "volts", "pressure_kpa")
LEAST = (0.3, 0.3, 2.0, 0.3, 8.0, 1.0)


@pytest.mark.parametrize(("kind", "size", "expected"), SIGNATURES, ids=[row[0] for row in SIGNATURES])
def test_the_signature_of_a_fault(kind, size, expected):
    more = {} if size is None else {"size": size}
    one = exact(fault(kind, "30m", length="2h", **more))
    before, during, after = at(one, 25), at(one, 140), at(one, 230)
    for field, least, way in zip(FIELDS, LEAST, expected, strict=True):
        moved = getattr(during, field) - getattr(before, field)
        assert (moved > least) - (moved < -least) == way, f"{field} moved by {moved:.2f}"
        # A day's slow wander of the voltage is all that is left when the fault is over.
        assert getattr(after, field) == pytest.approx(getattr(before, field), rel=0.05), field


def test_every_kind_is_played_and_shown_here():
    assert set(_WORK) | SENSOR_KINDS == set(KINDS)
    assert {row[0] for row in SIGNATURES} | SENSOR_KINDS | {"unit-switched-on", "bridge-silent"} == set(KINDS)


def test_a_valve_fails_within_a_minute_and_a_sieve_slowly():
    valve = exact(fault("valve-fault", "30m", size=0.6))
    assert at(valve, 29).purity_pct > 93
    assert at(valve, 31.2).purity_pct < 70


def test_a_compressor_stalls_at_low_voltage_and_starts_again():
    one = exact(fault("supply-sag", "30m", length="20m", size=0.25))
    assert at(one, 40).power_w == 4
    assert 150 < at(one, 40).volts < 190
    assert at(one, 51).power_w > 300


def test_a_cut_ward_loses_its_supply_at_once_and_no_other_does():
    two = fleet(fault("supply-cut", "30m", ward="b", length="10m"), site(unit("u1"), unit("u2", "b"), unit("u3", "b")))
    assert [at(two, 35, u).volts > 200 for u in ("u1", "u2", "u3")] == [True, False, False]
    assert (at(two, 35, "u2").volts, at(two, 35, "u2").power_w) == (0.0, 0.0)


def test_a_spare_is_switched_on_and_a_unit_off_flow_first():
    scenario = '[[unit]]\nid = "u1"\non = false\nflow_lpm = 3.0\n'
    scenario += fault("unit-switched-on", "30m") + fault("unit-switched-off", "60m")
    one = fleet(scenario)
    assert (at(one, 20).power_w, at(one, 20).flow_lpm) == (0.0, 0.0)
    assert at(one, 45).flow_lpm == pytest.approx(3.0, abs=0.2)
    ending = [(r.flow_lpm, r.power_w > 50) for r in one.readings(T0 + 60 * MINUTE, T0 + 61 * MINUTE)]
    assert ending[0] == (0.0, True)
    assert ending[-1] == (0.0, False)


def test_a_later_flow_replaces_an_earlier_one():
    one = exact(fault("flow-change", "10m", size=2.0) + fault("flow-change", "20m", size=3.0))
    assert [at(one, m).flow_lpm for m in (5, 15, 25)] == [4.0, 2.0, 3.0]


def test_a_stuck_sensor_holds_what_it_showed():
    one = fleet(fault("sensor-stuck", "30m", length="30m"))
    values = [r.purity_pct for r in one.readings(T0 + 30 * MINUTE, T0 + 60 * MINUTE) if r.purity_pct is not None]
    assert len(set(values)) == 1
    assert len({r.purity_pct for r in one.readings(T0 + 61 * MINUTE, T0 + 90 * MINUTE)}) > 3


@pytest.mark.parametrize("start", ["0m", "-1h"])
def test_a_sensor_that_was_stuck_already_holds_the_same_wherever_one_looks(start):
    scenario = fault("sensor-stuck", start, quantity="temp_c")
    seen = {r.temp_c for r in fleet(scenario).readings(T0, T0 + 3 * HOUR) if r.temp_c is not None}
    assert {r.temp_c for r in fleet(scenario).readings(T0 + 2 * HOUR, T0 + 3 * HOUR)} - {None} == seen
    assert len(seen) == 1


def test_spikes_come_now_and_then():
    one = exact(fault("sensor-spike", "1h", length="10h", size=-20.0, share=0.1))
    low = [r for r in one.readings(T0, T0 + 12 * HOUR) if r.purity_pct < 80]
    assert len(low) == pytest.approx(360, rel=0.25)
    assert all(T0 + HOUR <= r.time_ms < T0 + 11 * HOUR for r in low)


def test_a_sensor_drifts_while_the_unit_does_not():
    one = exact(fault("sensor-drift", "1h", rise="10h", size=-5.0))
    assert at(one, 30).purity_pct - at(one, 6 * 60).purity_pct == pytest.approx(2.5, abs=0.11)
    assert at(one, 30).purity_pct - at(one, 20 * 60).purity_pct == pytest.approx(5.0, abs=0.11)


def test_a_wrong_clock_dates_readings_ahead_and_leaves_their_order():
    one = exact(fault("clock-offset", "30m", length="30m", size=3600))
    due = list(one.timed(T0, T0 + 90 * MINUTE))
    offsets = {(reading.time_ms - due_ms) for due_ms, reading in due}
    assert offsets == {0, 3_600_000}
    assert [d for d, _ in due] == sorted(d for d, _ in due)


def test_a_reset_meter_begins_anew_and_then_runs_with_the_clock():
    one = exact(fault("meter-reset", "1h", size=7.0))
    assert at(one, 59).hours_h > 100
    assert at(one, 61).hours_h == pytest.approx(7.0, abs=0.06)
    assert at(one, 60 + 600).hours_h == pytest.approx(17.0, abs=0.06)


def test_a_silent_bridge_leaves_a_gap_or_keeps_what_it_read():
    for keeps, expected in ((False, 0), (True, 60)):
        scenario = fault("bridge-silent", "30m", length="10m", bridge="bridge", backlog=keeps)
        one = exact(scenario)
        assert len(list(one.readings(T0 + 30 * MINUTE, T0 + 40 * MINUTE))) == expected
        assert one.silent("bridge", T0 + 35 * MINUTE)
        assert not one.silent("bridge", T0 + 40 * MINUTE)


@pytest.mark.parametrize(
    ("shape", "middle", "end"), [("linear", 0.5, 1.0), ("step", 1.0, 1.0), ("exponential", 0.1824, 1.0)]
)
def test_shapes(shape, middle, end):
    """Computed: (e^1.5 - 1) / (e^3 - 1) = 0.1824."""
    grows = Fault.model_validate(
        {"kind": "sieve-worn", "unit": "u", "start": 0, "rise": "10h", "length": "20h", "shape": shape, "size": 1.0}
    )
    at_ms = np.array([-1, 5 * HOUR, 10 * HOUR, 15 * HOUR, 20 * HOUR])
    assert grows.grown(at_ms) == pytest.approx([0.0, middle, end, end, 0.0], abs=1e-4)
