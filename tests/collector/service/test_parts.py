"""What to order follows from forecast tasks and failures, at the part's own service level."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rules.limits import DAY
from collector.service.parts import (
    PRIOR_PIECES,
    PRIOR_UNIT_YEARS,
    Planned,
    chance_due,
    demand,
    failures_per_day,
    level,
    needs,
    order_cost,
)
from collector.service.stock import Stock
from collector.site import parse_site

NOW = 1_800_000_000_000


def task(day, *, pieces=1, early=0.0, late=0.0, every=0.0, part="filter"):
    """A task due so many days from now, at the earliest and latest so many days off that."""
    mid = NOW + day * DAY
    return Planned(part, pieces, mid - early * DAY, mid, mid + late * DAY, every)


def site_with(*, units=10, stock=0, lead_days=30, cost=4.5, service_level=0.95):
    owned = "\n".join(f'[[unit]]\nid = "u{n}"' for n in range(units))
    return parse_site(
        f'[facility]\nid = "lakeside"\n{owned}\n[[part]]\nid = "filter"\nstock = {stock}\nlead_days = {lead_days}\n'
        f"cost = {cost}\nservice_level = {service_level}"
    )


def test_a_tasks_quantiles_are_what_its_forecast_says():
    due = task(20, early=5, late=15)
    for day, chance in ((15, 0.05), (20, 0.5), (35, 0.95)):
        assert chance_due(due, NOW + day * DAY) == pytest.approx(chance, abs=1e-9)


def test_a_task_without_spread_comes_on_its_day():
    assert [chance_due(task(20), NOW + day * DAY) for day in (19.9, 20)] == [0.0, 1.0]


def test_tasks_in_the_span_are_needed_for_certain_and_later_ones_not_at_all():
    chances = demand([task(5, pieces=2), task(10), task(31)], 0.0, NOW, 30)
    assert chances[:3].tolist() == [0, 0, 0]
    assert level(chances, 0.99) == 3


def test_an_overdue_task_is_needed_now_and_again_an_interval_later():
    overdue = task(-100, every=20)
    assert level(demand([overdue], 0.0, NOW, 30), 0.99) == 2
    assert level(demand([overdue], 0.0, NOW, 61), 0.99) == 4


def test_uncertain_tasks_add_up_as_counted_by_hand():
    halves = [task(30, early=5, late=5)] * 3
    assert demand(halves, 0.0, NOW, 30)[:4] == pytest.approx([1 / 8, 3 / 8, 3 / 8, 1 / 8], abs=1e-6)


@given(
    st.lists(st.tuples(st.floats(-50, 90), st.integers(1, 3), st.floats(0, 20), st.floats(0, 30)), max_size=12),
    st.floats(0, 12),
)
def test_chances_add_up_to_one_and_their_mean_is_the_sum_of_the_parts(tasks, failures):
    planned = [task(day, pieces=n, early=early, late=late) for day, n, early, late in tasks]
    chances = demand(planned, failures, NOW, 30)
    mean = failures + sum(due.pieces * chance_due(due, NOW + 30 * DAY) for due in planned)
    assert chances.sum() == pytest.approx(1, abs=1e-6)
    assert np.arange(len(chances)) @ chances == pytest.approx(mean, abs=1e-4)


def test_failures_are_learned_from_use_and_start_from_the_prior():
    at_once = failures_per_day(0, units=20, observed_days=0)
    assert at_once * 365.25 == pytest.approx(20 * PRIOR_PIECES / PRIOR_UNIT_YEARS)
    after_years = failures_per_day(40, units=20, observed_days=10 * 365.25)
    assert after_years * 365.25 == pytest.approx(20 * 0.2, rel=0.05)


def test_the_order_fills_up_to_what_lasts_until_the_next_order_comes():
    site = site_with(units=0, stock=2)
    planned = [task(day) for day in (5, 15, 25, 35, 45, 55, 65)]
    (need,) = needs(site, {"filter": Stock(have=2)}, planned, now_ms=NOW, observed_days=0)
    assert (need.reorder_level, need.up_to, need.order, need.order_now) == (3, 6, 4, True)
    assert (need.planned, need.failures, need.lasts, need.cost) == (6.0, 0.0, 0.0, 18.0)


def test_what_is_on_its_way_is_not_ordered_again():
    site = site_with(units=0)
    stock = Stock(have=1, orders=[(NOW - DAY, 5)])
    planned = [task(day) for day in (5, 15, 25, 35, 45, 55)]
    (need,) = needs(site, {"filter": stock}, planned, now_ms=NOW, observed_days=0)
    assert (need.on_the_way, need.order, need.cost, need.lasts) == (5, 0, 0.0, 1.0)


def test_a_shelf_that_holds_less_than_nothing_counts_as_empty_and_says_so():
    (need,) = needs(site_with(units=0), {"filter": Stock(have=-3)}, [task(5)], now_ms=NOW, observed_days=0)
    assert (need.order, need.miscounted) == (1, True)


def test_a_higher_service_level_never_orders_less():
    orders = [
        needs(site_with(service_level=s), {}, [task(20, early=9, late=9)] * 4, now_ms=NOW, observed_days=30)[0].order
        for s in (0.5, 0.8, 0.9, 0.95, 0.99, 0.999)
    ]
    assert orders == sorted(orders)
    assert orders[0] < orders[-1]


def test_units_in_store_break_nothing_and_the_cost_is_that_of_all_orders():
    site = parse_site(
        '[facility]\nid="l"\n[[unit]]\nid="u"\nin_service=false\n'
        '[[part]]\nid="a"\ncost=2.0\n[[part]]\nid="b"\ncost=3.0\n'
    )
    planned = [task(5, part="a"), task(5, part="b", pieces=2), task(5, part="unknown")]
    found = needs(site, {}, planned, now_ms=NOW, observed_days=0)
    assert {need.part: (need.order, need.failures) for need in found} == {"a": (1, 0.0), "b": (2, 0.0)}
    assert order_cost(found) == 8.0


def test_the_level_is_the_first_that_is_enough():
    for mean in (0.1, 1.0, 3.7, 40.0):
        chances = demand([], mean, NOW, 30)
        enough = level(chances, 0.95)
        assert chances[: enough + 1].sum() >= 0.95 > chances[:enough].sum()
