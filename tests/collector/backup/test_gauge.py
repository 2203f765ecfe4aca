"""What is read off a gauge: the unit is said, and what cannot be is refused."""

import pytest

from collector.backup.gauge import GaugeError, entered_text, gauge_kpa
from collector.site import Cylinder

E = Cylinder(id="e-1", water_l=4.7)


@pytest.mark.parametrize(
    ("value", "unit", "kpa"), [(137, "bar", 13_700), (13_700, "kPa", 13_700), (1000, "psi", 6894.757), (0, "kPa", 0)]
)
def test_each_unit_becomes_kpa(value, unit, kpa):
    assert gauge_kpa(value, unit, E) == pytest.approx(kpa, abs=0.001)


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (13_700, "bar", "more than e-1 shows when full"),
        (2000, "bar", "137 bar, 1987 psi"),
        (137, "kPa", "If the gauge says bar, choose bar"),
        (-1, "bar", "0 or more"),
        (float("nan"), "bar", "0 or more"),
        (float("inf"), "psi", "0 or more"),
        (100, "atm", "choose one of bar, kPa, psi"),
    ],
)
def test_what_no_gauge_shows_is_refused_with_a_way_out(value, unit, said):
    with pytest.raises(GaugeError, match=said):
        gauge_kpa(value, unit, E)


def test_a_full_cylinder_in_a_hot_room_is_believed():
    assert gauge_kpa(137 * 1.125, "bar", E) > E.full_kpa


def test_what_was_read_is_kept_with_its_unit():
    assert entered_text(90.5, "bar") == "90.5 bar"
