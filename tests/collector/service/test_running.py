"""Hours run and to come: what must hold for any past, and how often the range covers what came."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.rules.limits import DAY
from collector.service.running import DAY_H, PRIOR_H, Point, RunClock, Usage, days_until, usage_of
from tests.collector.service.test_due import due
from tests.collector.service.upkeep import START_MS, Journal, days_from, site_of, task

a_day = st.floats(0, 24)


def points_of(hours: list[float], unknown: list[float] | None = None) -> list[Point]:
    found, known_h, unknown_h = [Point(START_MS, 0.0, 0.0)], 0.0, 0.0
    for day, ran in enumerate(hours, 1):
        known_h, unknown_h = known_h + ran, unknown_h + (unknown[day - 1] if unknown else 0.0)
        found.append(Point(START_MS + day * DAY, known_h, unknown_h))
    return found


@given(st.lists(a_day, max_size=130))
def test_use_is_a_share_of_the_day(hours: list[float]) -> None:
    usage = usage_of(points_of(hours))
    assert 0 <= usage.mean_h <= DAY_H
    assert 0 <= usage.share <= 1
    assert usage.error_h > 0
    assert usage.variance > 0


def test_with_nothing_to_go_on_it_is_the_prior_and_much_use_outweighs_it() -> None:
    assert usage_of([]).mean_h == PRIOR_H
    assert usage_of(points_of([22.0] * 100)).mean_h == pytest.approx(22, abs=0.6)
    assert usage_of(points_of([20.0] * 60 + [4.0] * 60)).mean_h < 9  # of late


def test_a_day_that_nobody_heard_of_says_nothing_about_use() -> None:
    heard = usage_of(points_of([20.0] * 40))
    part = usage_of(points_of([20.0] * 40 + [0.0] * 10, [0.0] * 40 + [24.0] * 10))
    assert part.mean_h == pytest.approx(heard.mean_h, abs=0.01)


@given(st.floats(0.1, 20_000), st.floats(0, 24), st.floats(0.01, 8), st.floats(1, 600))
def test_points_are_in_order_and_nobody_runs_more_than_a_day_a_day(
    hours: float, mean_h: float, error_h: float, variance: float
) -> None:
    early, median, late = days_until(hours, Usage(mean_h, error_h, variance))
    assert early >= hours / DAY_H * 0.999999
    if median is not None:
        assert early <= median
        assert late is None or median <= late


@given(st.floats(1, 5_000), st.floats(1.5, 24), st.floats(0.01, 3), st.floats(1, 600))
def test_the_two_roots_solve_what_is_stated(hours: float, mean_h: float, error_h: float, variance: float) -> None:
    z = 1.6449
    early, _, late = days_until(hours, Usage(mean_h, error_h, variance))
    for days in (early if early > hours / DAY_H * 1.001 else None, late):
        if days is not None and days > hours / DAY_H * 1.001:
            left = (mean_h * days - hours) ** 2
            assert left == pytest.approx(z**2 * (variance * days + (error_h * days) ** 2), rel=1e-6, abs=1e-6)


@given(
    st.lists(a_day, min_size=1, max_size=40),
    st.lists(a_day, min_size=40, max_size=40),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_when_is_the_inverse_of_at(hours: list[float], unknown: list[float], share: float, part: float) -> None:
    clock = RunClock(points_of(hours, unknown))
    end = clock.at(START_MS + 1000 * DAY, share)
    wanted = part * end
    at_ms = clock.when(wanted, share)
    assert at_ms is not None
    assert clock.at(at_ms, share) == pytest.approx(wanted, abs=1e-4)
    assert clock.when(end + 1, share) is None


def runs(rng: random.Random, days: int, on_days: float, off_days: float, drift: float) -> list[float]:
    """Hours a day of a unit that runs in spells of days, part of them by day only, the more of them the later."""
    hours: list[float] = []
    while len(hours) < days:
        on = rng.expovariate(1 / on_days) * (1 + drift * len(hours) / days)
        level = rng.choice([24.0, 24.0, 14.0])
        hours += [min(24.0, max(0.0, level + rng.gauss(0, 1))) for _ in range(max(1, round(on)))]
        hours += [0.0] * round(rng.expovariate(1 / off_days))
    return hours[:days]


def test_the_range_covers_what_came_about_nine_times_in_ten() -> None:
    """Made-up use: nothing real. A range that is far too narrow or far too wide fails."""
    rng, covered, early, trials, widths = random.Random(5), 0, 0, 0, []  # noqa: S311 - no secret
    site = site_of(task("every_h = 4400"))
    for _ in range(150):
        hours = runs(rng, 1000, rng.uniform(2, 20), rng.uniform(0.5, 8), rng.choice([0.0, 0.3]))
        seen = rng.choice([10, 40, 120])
        truth = next((day for day in range(len(hours)) if sum(hours[:day]) >= 4400), None)
        if truth is None or truth <= seen:
            continue
        found = due(site, Journal().hours(hours[:seen]).done(0), seen)
        trials += 1
        late = days_from(found.due_ms.p95) or float("inf")
        first = days_from(found.due_ms.p05) or 0.0
        covered += first - 1 <= truth <= late + 1
        early += truth < first - 1
        widths.append((min(late, 2000) - first) / truth)
    share = covered / trials
    assert trials > 100
    assert 0.82 <= share <= 0.99, (share, early / trials)
    assert sorted(widths)[len(widths) // 2] < 1.0
