"""Hours are judged whole where that is safe, by the minute elsewhere, and never as good when in doubt."""

import pytest

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
    assert given(hours, {2 * HOUR: minutes}, MODEL).seen == ((0, 2 * HOUR + 26 * MINUTE), (3 * HOUR, 4 * HOUR))


def test_nothing_given_is_nothing():
    assert given([], {}, MODEL) == given([], {}, Model(id="other"))
    assert given([], {}, MODEL).seen == ()
