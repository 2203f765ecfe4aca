"""Charts: few points, every extreme, honest gaps, up to the newest reading."""

import numpy as np
import pytest

from collector.reading import Reading
from collector.store import history
from collector.store.retention import DAY_MS
from tests.collector.store.samples import HOUR, MINUTE, START, put, reading, upkeep

DAYS = 3


@pytest.fixture(scope="module")
def whole():
    """Three days of one unit every 30 s, with one dip, one peak, a gap of five hours, and no voltage at first."""
    rng = np.random.default_rng(4)
    found = []
    for place, at_ms in enumerate(range(START, START + DAYS * DAY_MS, 30_000)):
        if START + 30 * HOUR <= at_ms < START + 35 * HOUR:
            continue
        purity = {1_000: 71.5, 7_000: 99.5}.get(place, round(93 + rng.normal(0, 0.2), 1))
        volts = None if place < 2_880 else 230.0
        found.append(Reading("alder", at_ms, purity_pct=purity, flow_lpm=4.0, volts=volts))
    return found


@pytest.fixture
def rolled(store, whole):
    """A store with them, rolled up and packed but for the last 90 minutes."""
    put(store, whole)
    upkeep(store, START + DAYS * DAY_MS - 90 * MINUTE)
    return store


@pytest.mark.parametrize(
    ("source", "hours", "points"),
    [
        ("raw", 6, 1500),
        ("raw", 1, 100),
        ("minutes", 72, 1500),
        ("minutes", 72, 100),
        ("hours", 72, 60),
        ("hours", 72, 7),
    ],
)
def test_the_source_follows_from_the_points_and_nothing_is_lost(rolled, whole, source, hours, points):
    end = START + DAYS * DAY_MS
    begin = end - hours * HOUR
    series = history.series(rolled.conn, "alder", begin, end, points)
    purity = [r.purity_pct for r in whole if r.time_ms >= begin]
    band = series.bands["purity_pct"]
    assert series.source == source
    assert 0 < len(series) <= points
    assert int(series.n.sum()) == len(purity)
    assert (np.nanmin(band.min), np.nanmax(band.max)) == (min(purity), max(purity))
    assert np.average(band.mean, weights=series.n) == pytest.approx(np.mean(purity))
    assert bool((np.diff(series.time_ms) > 0).all())


def test_few_readings_are_each_a_point(rolled, whole):
    series = history.series(rolled.conn, "alder", START, START + HOUR)
    hour = [r for r in whole if r.time_ms < START + HOUR]
    band = series.bands["purity_pct"]
    assert series.bucket_ms == 0
    assert series.time_ms.tolist() == [r.time_ms for r in hour]
    assert band.mean.tolist() == band.min.tolist() == band.max.tolist() == [r.purity_pct for r in hour]


@pytest.mark.parametrize("points", [1500, 60])
def test_a_gap_stays_a_gap(rolled, points):
    series = history.series(rolled.conn, "alder", START, START + DAYS * DAY_MS, points)
    inside = (series.time_ms >= START + 30 * HOUR) & (series.time_ms + series.bucket_ms <= START + 35 * HOUR)
    assert not inside.any()
    assert int(np.diff(series.time_ms).max()) >= 4 * HOUR


@pytest.mark.parametrize("points", [1500, 60])
def test_a_quantity_that_was_not_measured_is_nan_not_nought(rolled, points):
    volts = history.series(rolled.conn, "alder", START, START + DAYS * DAY_MS, points).bands["volts"]
    first_day = slice(0, 10)
    assert np.isnan(volts.mean[first_day]).all()
    assert np.isnan(volts.min[first_day]).all()
    assert volts.mean[-1] == 230.0


def test_a_minute_without_a_value_does_not_hide_those_beside_it(store):
    put(store, [reading("alder", START + m * MINUTE, volts=None if m % 2 else 230.0) for m in range(600)])
    upkeep(store, START + 10 * HOUR)
    series = history.series(store.conn, "alder", START, START + 10 * HOUR, 20)
    assert series.source == "minutes"
    assert set(series.bands["volts"].mean.tolist()) == {230.0}


def test_the_newest_reading_is_in_it_before_its_minute_is_rolled_up(rolled):
    newest = START + DAYS * DAY_MS + 5_000
    put(rolled, [reading("alder", newest, purity_pct=42.0)])
    for hours, source in ((1, "raw"), (72, "minutes"), (2_000, "hours")):
        series = history.series(rolled.conn, "alder", newest - hours * HOUR, newest + 1)
        assert series.source == source
        assert series.bands["purity_pct"].min[-1] == 42.0


def test_buckets_stay_where_they_are_when_the_chart_is_drawn_again(rolled):
    end = START + DAYS * DAY_MS
    first = history.series(rolled.conn, "alder", end - 50 * HOUR, end, 200)
    again = history.series(rolled.conn, "alder", end - 50 * HOUR + 7_000, end + 7_000, 200)
    assert first.bucket_ms == again.bucket_ms
    assert set(first.time_ms[1:].tolist()) <= set(again.time_ms.tolist())


def test_without_rollups_readings_do(store, whole):
    put(store, whole[:500])
    series = history.series(store.conn, "alder", START, START + 400 * DAY_MS, 100)
    assert (series.source, int(series.n.sum())) == ("hours", 500)


def test_where_readings_are_gone_rollups_do(rolled):
    while rolled.retain(START + 91 * DAY_MS):
        pass
    series = history.series(rolled.conn, "alder", START, START + 10 * HOUR)
    assert (series.source, int(series.n.sum())) == ("minutes", 1_200)
    while rolled.retain(START + 401 * DAY_MS):
        pass
    series = history.series(rolled.conn, "alder", START, START + 10 * HOUR)
    assert (series.source, int(series.n.sum())) == ("hours", 1_200)


def test_an_unknown_unit_or_an_empty_store_gives_no_points(store):
    for span in (HOUR, 3 * DAY_MS, 900 * DAY_MS):
        assert len(history.series(store.conn, "nobody", START, START + span)) == 0
