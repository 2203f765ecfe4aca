"""One contract, two stores: what is put in comes back, from SQLite and from a real InfluxDB server alike.

Values are invented: they show that a store keeps what it is given.
"""

import numpy as np
import pytest

from collector.influx.readback import Readback
from collector.reading import Reading
from collector.store import history
from collector.store.schema import ROLLED
from collector.store.series import bucket_ms, drawn, wanted_source
from tests.collector.influx.conftest import carried
from tests.collector.store.samples import HOUR, MINUTE, START, put, reading, run_of, upkeep


class Here:
    """The store on this machine."""

    def __init__(self, store):
        self.store = store

    def put(self, readings, until_ms):
        """Have readings in it, and everything rolled up by then."""
        put(self.store, readings)
        upkeep(self.store, until_ms)

    def again(self):
        """Put in once more what is there."""
        put(self.store, self.readings(START - HOUR, START + 200 * HOUR))

    def readings(self, from_ms, to_ms, units=None):
        """Readings by time and unit."""
        return list(history.iter_readings(self.store.conn, from_ms, to_ms, units))

    def series(self, unit, from_ms, to_ms, points):
        """A chart's buckets."""
        return history.series(self.store.conn, unit, from_ms, to_ms, points)


class Afar(Here):
    """The copy of it on the server: put in by the carrier, read by InfluxQL."""

    def __init__(self, store, feed, target):
        super().__init__(store)
        self.feed, self.far = feed, Readback(target)

    def put(self, readings, until_ms):
        super().put(readings, until_ms)
        carried(self.feed)

    def again(self):
        self.feed._marks.forget()
        self.feed._streams = ()
        carried(self.feed)

    def readings(self, from_ms, to_ms, units=None):
        return list(self.far.readings(from_ms, to_ms, units))

    def series(self, unit, from_ms, to_ms, points):
        source = wanted_source(from_ms, to_ms, points)
        width = bucket_ms(source, from_ms, to_ms, points)
        return drawn(self.far.sums(unit, from_ms, to_ms, source, width), source, from_ms, to_ms, points)


@pytest.fixture(params=["sqlite", "influx"])
def kept(request, store):
    """Each store, one after the other."""
    if request.param == "sqlite":
        return Here(store)
    return Afar(store, request.getfixturevalue("feed"), request.getfixturevalue("target"))


def in_order(readings):
    """Readings as a store gives them back."""
    return sorted(readings, key=lambda r: (r.time_ms, r.unit))


def test_every_value_comes_back_as_it_was(kept):
    readings = run_of(2)
    kept.put(readings, START + 2 * HOUR)
    assert kept.readings(START, START + 2 * HOUR) == in_order(readings)


def test_numbers_come_back_to_the_last_bit(kept):
    odd = [reading(at_ms=START + place * MINUTE, purity_pct=value, flow_lpm=-0.0)
           for place, value in enumerate((0.1 + 0.2, 1e-300, 5e-324, 93.0, 1 / 3, -0.5, 110.0))]  # fmt: skip
    kept.put(odd, START + HOUR)
    assert kept.readings(START, START + HOUR) == odd


def test_a_range_has_its_first_moment_and_not_its_last(kept):
    kept.put([reading(at_ms=START + place * MINUTE) for place in range(10)], START + HOUR)
    found = kept.readings(START + 2 * MINUTE, START + 5 * MINUTE)
    assert [r.time_ms - START for r in found] == [2 * MINUTE, 3 * MINUTE, 4 * MINUTE]


def test_only_the_units_asked_for(kept):
    kept.put(run_of(0.1), START + HOUR)
    assert {r.unit for r in kept.readings(START, START + HOUR, ("birch",))} == {"birch"}


def test_nothing_is_an_answer(kept):
    kept.put([], START)
    assert kept.readings(START, START + HOUR) == []
    assert len(kept.series("alder", START, START + HOUR, 100)) == 0


@pytest.mark.parametrize("unit", ["Früh geboren", "a,b=c d", "it's", 'say "so"', "日本-1", "back\\slash", "a\\,b"])
def test_a_unit_may_be_called_anything(kept, unit):
    kept.put([reading(unit), reading("alder")], START + HOUR)
    assert kept.readings(START, START + HOUR) == in_order([reading(unit), reading("alder")])
    assert kept.series(unit, START, START + HOUR, 10).n.tolist() == [1]


def test_a_lamp_alone_is_a_reading(kept):
    kept.put([Reading("alder", START, lamp="off")], START + HOUR)
    assert kept.readings(START, START + HOUR) == [Reading("alder", START, lamp="off")]
    assert kept.series("alder", START, START + HOUR, 100).n.tolist() == [1]


def test_the_same_again_changes_nothing(kept):
    readings = run_of(1)
    kept.put(readings, START + HOUR)
    kept.again()
    assert kept.readings(START, START + HOUR) == in_order(readings)
    assert int(kept.series("alder", START, START + HOUR, 30).n.sum()) == len(readings) // 3


@pytest.mark.parametrize(
    ("source", "points"), [("raw", 5000), ("raw", 400), ("minutes", 150), ("minutes", 20), ("hours", 4)]
)
def test_what_is_put_together_has_no_other_sum_and_no_other_extremes(kept, source, points):
    readings = run_of(6)
    kept.put(readings, START + 6 * HOUR)
    found = kept.series("alder", START, START + 6 * HOUR, points)
    assert found.source == source
    assert 0 < len(found) <= points
    assert int(found.n.sum()) == len(readings) // 3
    for name in ROLLED:
        values = [getattr(r, name) for r in readings if r.unit == "alder" and getattr(r, name) is not None]
        band = found.bands[name]
        assert (np.nanmin(band.min), np.nanmax(band.max)) == (min(values), max(values))


@pytest.mark.parametrize("points", [400, 150, 20, 4])
def test_both_stores_give_the_same_buckets(store, feed, target, points):
    afar = Afar(store, feed, target)
    afar.put([r for r in run_of(6) if not START + 2 * HOUR < r.time_ms < START + 3.5 * HOUR], START + 6 * HOUR)
    here, there = (each.series("birch", START, START + 6 * HOUR, points) for each in (Here(store), afar))
    assert (here.source, here.bucket_ms) == (there.source, there.bucket_ms)
    assert here.time_ms.tolist() == there.time_ms.tolist()
    assert here.n.tolist() == there.n.tolist()
    for name in ROLLED:
        for part in ("mean", "min", "max"):
            assert getattr(here.bands[name], part) == pytest.approx(getattr(there.bands[name], part), nan_ok=True)


@pytest.mark.parametrize("points", [1500, 100])
def test_a_gap_stays_a_gap(kept, points):
    readings = [reading(at_ms=START + m * MINUTE) for m in range(600) if not 120 <= m < 420]
    kept.put(readings, START + 10 * HOUR)
    found = kept.series("alder", START, START + 10 * HOUR, points)
    inside = (found.time_ms >= START + 2 * HOUR) & (found.time_ms + max(1, found.bucket_ms) <= START + 7 * HOUR)
    assert len(found)
    assert not inside.any()


def test_what_was_not_measured_is_not_nought(kept):
    kept.put(
        [reading(at_ms=START + m * MINUTE, volts=None if m < 200 else 230.0) for m in range(400)], START + 7 * HOUR
    )
    volts = kept.series("alder", START, START + 7 * HOUR, 100).bands["volts"]
    assert np.isnan(volts.mean[0])
    assert np.isnan(volts.min[0])
    assert volts.mean[-1] == 230.0


def test_fifty_thousand_come_back(kept):
    readings = [Reading(f"unit-{unit:02d}", START + second * 2_000, 93.5, 5.0, 340.0, 21.5, 230.0, 88.0, 1200.0)
                for second in range(1_000) for unit in range(50)]  # fmt: skip
    kept.put(readings, START + HOUR)
    assert kept.readings(START, START + HOUR) == readings
