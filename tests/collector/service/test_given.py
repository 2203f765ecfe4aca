"""Hours are judged whole where that is safe, by the minute elsewhere, and never as good when in doubt."""

import pytest
from hypothesis import given as tried
from hypothesis import settings
from hypothesis import strategies as st

from collector.rules.limits import HOUR, MINUTE
from collector.service.given import (
    ADEQUATE,
    IDLE,
    INADEQUATE,
    MIXED,
    UNMEASURED,
    Bucket,
    given,
    judge,
    needs_minutes,
)
from collector.site import Model

MODEL = Model(id="five")  # red 82 %, 350 W


def bucket(at_ms=0, *, n=360, purity=(93.0, 94.0), flow=2.0, power=(300.0, 320.0)):
    low, high = purity or (None, None)
    power_low, power_high = power or (None, None)
    mean = sum(power) / 2 if power else None
    return Bucket(at_ms, n, low, high, flow, flow, power_low, power_high, mean)


@pytest.mark.parametrize(
    ("one", "verdict"),
    [
        (bucket(), ADEQUATE),
        (bucket(purity=(82.0, 90.0)), ADEQUATE),
        (bucket(purity=(70.0, 81.9)), INADEQUATE),
        (bucket(purity=(81.0, 90.0)), MIXED),
        (bucket(purity=None), UNMEASURED),
        (bucket(purity=(20.9, 21.0), power=(0.0, 8.0)), IDLE),
        (bucket(purity=(20.9, 94.0), power=(0.0, 300.0)), MIXED),
        (bucket(purity=(20.9, 21.0), power=None, flow=0.0), IDLE),
        (bucket(purity=(60.0, 70.0), power=None, flow=None), INADEQUATE),
        (bucket(purity=(20.9, 21.0), power=None, flow=None), IDLE),
    ],
)
def test_what_a_bucket_shows(one, verdict):
    assert judge(one, MODEL) == verdict


def test_hours_energy_and_flow_add_up():
    hours = [bucket(0), bucket(HOUR, purity=(50, 60)), bucket(2 * HOUR, purity=(21, 21), power=(0, 8), flow=0.0)]
    found = given(hours, {}, MODEL)
    assert (found.adequate_h, found.inadequate_h, found.unmeasured_h, found.idle_h) == (1, 1, 0, 1)
    assert found.kwh == pytest.approx((310 + 310 + 4) / 1000)
    assert found.power_h == 3
    assert found.flow == ((0, 2.0), (HOUR, 2.0))
    assert found.seen == ((0, 3 * HOUR),)


def test_a_mixed_hour_is_told_by_its_minutes():
    hours = [bucket(0), bucket(HOUR, purity=(70, 93))]
    minutes = [bucket(HOUR + n * MINUTE, n=6, purity=(70, 80) if n < 15 else (90, 93)) for n in range(60)]
    assert needs_minutes(hours, MODEL) == [HOUR]
    found = given(hours, {HOUR: minutes}, MODEL)
    assert (found.adequate_h, found.inadequate_h) == pytest.approx((1.75, 0.25))


def test_a_minute_with_any_low_reading_and_an_hour_without_minutes_are_not_adequate():
    hours = [bucket(0), bucket(HOUR, purity=(70, 93))]
    minutes = [bucket(HOUR, n=6, purity=(81, 93)), bucket(HOUR + MINUTE, n=6)]
    assert given(hours, {HOUR: minutes}, MODEL).inadequate_h == pytest.approx(0.5)
    assert given(hours, {}, MODEL).inadequate_h == 1.0


def test_half_an_hour_of_readings_counts_half_and_the_rest_was_not_seen():
    hours = [bucket(0), bucket(HOUR, n=180), bucket(2 * HOUR)]
    minutes = [bucket(HOUR + n * MINUTE, n=6) for n in range(30)]
    assert needs_minutes(hours, MODEL) == [HOUR]
    found = given(hours, {HOUR: minutes}, MODEL)
    assert found.adequate_h == pytest.approx(2.5)
    assert found.power_h == pytest.approx(2.5)
    assert found.seen == ((0, HOUR + 30 * MINUTE), (2 * HOUR, 3 * HOUR))


def test_readings_every_five_minutes_leave_no_gaps_between_them():
    hours = [bucket(0, n=12), bucket(HOUR, n=12), bucket(2 * HOUR, n=6), bucket(3 * HOUR, n=12)]
    minutes = [bucket(2 * HOUR + n * 5 * MINUTE, n=1) for n in range(6)]
    assert given(hours, {2 * HOUR: minutes}, MODEL).seen == ((0, 2 * HOUR + 30 * MINUTE), (3 * HOUR, 4 * HOUR))


def test_an_hour_with_fewer_but_even_readings_is_a_full_hour():
    hours = [bucket(n * HOUR) for n in range(9)] + [bucket(9 * HOUR, n=60)]
    minutes = [bucket(9 * HOUR + n * MINUTE, n=1) for n in range(60)]
    found = given(hours, {9 * HOUR: minutes}, MODEL)
    assert found.adequate_h == pytest.approx(10)
    assert found.seen == ((0, 10 * HOUR),)


def test_where_minutes_are_gone_a_thin_hour_counts_by_its_readings():
    found = given([bucket(0), bucket(HOUR, n=90)], {}, MODEL)
    assert (found.adequate_h, found.kwh) == pytest.approx((1.25, 1.25 * 0.31))


def test_a_unit_that_is_silent_for_half_of_most_hours_is_seen_for_half_of_them():
    hours = [bucket(n * HOUR, n=360 if n % 3 == 0 else 180) for n in range(12)]
    minutes = {h.at_ms: [bucket(h.at_ms + n * MINUTE, n=6) for n in range(30)] for h in hours if h.n < 360}
    assert needs_minutes(hours, MODEL) == sorted(minutes)
    assert given(hours, minutes, MODEL).adequate_h == pytest.approx(4 + 8 / 2)


def test_an_hour_in_which_purity_was_read_less_often_than_usual_is_known_for_those_minutes_only():
    hours = [bucket(n * HOUR) for n in range(9)] + [bucket(9 * HOUR)._replace(purity_n=36)]
    minutes = [bucket(9 * HOUR + n * MINUTE, n=6, purity=(93, 94) if n < 6 else None) for n in range(60)]
    assert needs_minutes(hours, MODEL) == [9 * HOUR]
    found = given(hours, {9 * HOUR: minutes}, MODEL)
    assert (found.adequate_h, found.unmeasured_h) == pytest.approx((9.1, 0.9))
    assert given(hours, {}, MODEL).unmeasured_h == 1.0


def test_a_unit_whose_purity_is_always_read_less_often_than_its_power_is_known_throughout():
    hours = [bucket(n * HOUR)._replace(purity_n=60) for n in range(5)]
    assert needs_minutes(hours, MODEL) == []
    assert given(hours, {}, MODEL).adequate_h == 5


def test_nothing_given_is_nothing():
    assert given([], {}, MODEL) == given([], {}, Model(id="other"))
    assert given([], {}, MODEL).seen == ()


KINDS = {"good": (93.0, 300.0), "low": (70.0, 300.0), "off": (21.0, 5.0), "blind": (None, 300.0)}


def rolled(buckets):
    """A coarser bucket of finer ones, as the store makes it."""
    lows = [b.purity_low_pct for b in buckets if b.purity_low_pct is not None]
    power = [b.power_mean_w for b in buckets]
    return Bucket(buckets[0].at_ms // HOUR * HOUR, sum(b.n for b in buckets), min(lows, default=None),
                  max(lows, default=None), 2.0, 2.0, min(power), max(power), sum(power) / len(power),
                  sum(b.measured for b in buckets))  # fmt: skip


@settings(max_examples=40)
@tried(st.lists(st.lists(st.tuples(st.sampled_from(sorted(KINDS)), st.integers(1, 60)), min_size=1), min_size=1,
                max_size=4))  # fmt: skip
def test_hours_by_their_minutes_are_the_minutes_counted(plan):
    fine = []
    for hour, runs in enumerate(plan):
        states = [kind for kind, length in runs for _ in range(length)]
        states = (states * 60)[:60]
        for minute, kind in enumerate(states):
            purity, power = KINDS[kind]
            pair = None if purity is None else (purity, purity)
            fine.append((kind, bucket(hour * HOUR + minute * MINUTE, n=6, purity=pair, power=(power, power))))
    hours = [rolled([b for _, b in fine[n : n + 60]]) for n in range(0, len(fine), 60)]
    needed = needs_minutes(hours, MODEL)
    minutes = {at: [b for _, b in fine if b.at_ms // HOUR * HOUR == at] for at in needed}
    found = given(hours, minutes, MODEL)
    counted = {kind: sum(one == kind for one, _ in fine) / 60 for kind in KINDS}
    told = {"good": found.adequate_h, "low": found.inadequate_h, "off": found.idle_h, "blind": found.unmeasured_h}
    known = (
        sum(one in ("good", "low") for one, _ in fine[:60]) == 60
    )  # what a full hour of purity is, is seen in some hour
    assert sum(told.values()) == pytest.approx(len(plan))
    if known or not counted["blind"]:
        assert told == pytest.approx(counted)
