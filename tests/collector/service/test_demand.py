"""A ward's demand is its units' flow together; what a unit gives counts only as far as it is known."""

from collector.rules.capacity.now import CapacityNow
from collector.rules.limits import HOUR
from collector.rules.unitrow import UnitRow
from collector.service.demand import known_lpm, ward_demand
from collector.service.given import Given
from collector.site import Model, parse_site

SITE = parse_site(
    '[facility]\nid = "l"\n[[ward]]\nid = "w"\n[[model]]\nid = "five"\n'
    + "\n".join(f'[[unit]]\nid = "u{n}"\nward = "w"\nmodel = "five"' for n in range(1, 5))
    + '\n[[unit]]\nid = "spare"\nward = "w"\nin_service = false'
)


def good_to(flow_lpm):
    return CapacityNow(at_ms=0, p05_lpm=1.0, p50_lpm=4.0, p95_lpm=9.0, seen=True, good_to_lpm=flow_lpm)


def row(unit="u1", **values):
    return UnitRow(unit=unit, **values)


def flows(*lpm):
    return Given(flow=tuple((hour * HOUR, flow) for hour, flow in enumerate(lpm) if flow))


def demand(given, rows=(), out=(), availability=0.95):
    return ward_demand(SITE, "w", {r.unit: r for r in rows}, given, out, availability)


def test_what_a_unit_is_known_to_hold():
    five = Model(id="five")
    assert known_lpm(row(capacity=good_to(3.0), proven_lpm=4.0), five) == 3.0
    assert known_lpm(row(capacity=good_to(7.0)), five) == 5.0
    assert known_lpm(row(capacity=good_to(None), proven_lpm=4.0), five) == 4.0
    assert known_lpm(row(), five) is None
    assert known_lpm(None, five) is None


def test_flow_is_added_up_hour_by_hour():
    found = demand({"u1": flows(1, 2, 0, 2), "u2": flows(0, 3, 1, 2), "u3": flows(0, 1, 0, 0)})
    assert (found.hours, found.peak_lpm, found.peak_ms, found.most_units) == (4, 6.0, HOUR, 3)
    assert (found.units, found.median_lpm) == (4, 2.5)


def test_a_unit_that_is_out_gives_nothing_and_one_not_known_is_named():
    rows = [row("u1", proven_lpm=5.0), row("u2", proven_lpm=2.0), row("u3", proven_lpm=5.0)]
    found = demand({"u1": flows(4), "u2": flows(4)}, rows, out={"u3"})
    assert (found.known_lpm, found.rated_lpm, found.unproven, found.spare_lpm) == (7.0, 15.0, ("u4",), -1.0)


def test_the_chance_that_enough_are_up_is_k_of_n():
    found = demand({"u1": flows(1), "u2": flows(1), "u3": flows(1)})
    assert found.enough is not None
    assert abs(found.enough - 0.985981) < 5e-7
    assert demand({}, availability=None).enough is None


def test_a_ward_in_which_nothing_ran_needs_nothing():
    found = demand({})
    assert (found.hours, found.peak_lpm, found.peak_ms, found.most_units, found.enough) == (0, 0.0, None, 0, 1.0)
