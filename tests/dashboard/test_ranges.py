"""Forecast times in words: rounded outwards, with what is reached, not foreseen or open said as such."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as some

from dashboard.ranges import clock_range, range_of, range_text, when_text
from dashboard.times import HOUR, MINUTE

NOW = 1_790_000_000_000  # 2026-09-21 17:13 in Nairobi
NAIROBI = ZoneInfo("Africa/Nairobi")


def quantiles(early, middle=None, late=None):
    return {"p05": early, "p50": middle, "p95": late}


@pytest.mark.parametrize(
    ("early", "late", "text"),
    [
        (190, 530, "3 to 9 h"), (23.9, 47.2, "20 to 50 min"), (3.2, 8.8, "3 to 9 min"), (62, 61 * 3, "60 min to 4 h"),
        (118, 121, "115 min to 3 h"), (9.9, 10.1, "9 to 15 min"), (47 * 60, 49 * 60, "47 h to 3 days"),
        (3 * 1440, 11.2 * 1440, "3 to 12 days"), (0.4, 13.1, "within 15 min"), (0.0, 0.5, "any moment now"),
        (0.0, 0.0, "reached"), (None, None, "not within 30 days"), (0.0, None, "at any time"),
        (5 * 1440, None, "5 days or later"), (120, 120, "about 2 h"), (115, 118.0, "115 min to 2 h"),
    ],
)  # fmt: skip
def test_a_range_in_words(early, late, text):
    assert range_text(range_of(quantiles(early, None, late))) == text


@pytest.mark.parametrize(
    ("early", "late", "text"),
    [(190, 530, "in 3 to 9 h"), (120, 120, "in about 2 h"), (0.4, 13, "within 15 min"), (0, 0, "reached"),
     (None, None, "not within 30 days"), (300, None, "in 5 h or later")],
)  # fmt: skip
def test_a_range_in_a_sentence(early, late, text):
    assert when_text(range_of(quantiles(early, None, late))) == text


def test_a_forecast_ages():
    made = quantiles(30, 60, 90)
    assert range_text(range_of(made, 20 * MINUTE)) == "10 to 70 min"
    assert range_text(range_of(made, 40 * MINUTE)) == "within 50 min"
    assert range_text(range_of(made, 2 * HOUR)) == "any moment now"


@pytest.mark.parametrize(
    ("early", "late", "text"),
    [(10, 60, "between 17:23 and 18:13"), (10, 7 * 60, "between 17:23 and 22 Sep 00:13"), (10, 10.1, "about 17:23"),
     (8 * 60, 20 * 60, "between 22 Sep 01:13 and 13:13"), (10, None, "from 17:23 on"), (None, None, "")],
)  # fmt: skip
def test_by_the_clock(early, late, text):
    assert clock_range(quantiles(early, None, late), NOW, NOW, NAIROBI) == text


def in_minutes(text):
    """The two ends of a range in words, in minutes."""
    sizes = {"min": 1, "h": 60, "days": 1440}
    first, _, last = text.partition(" to ")
    number, _, unit = last.partition(" ")
    least, _, own = first.partition(" ")
    return int(least) * sizes[own or unit], int(number) * sizes[unit]


@given(some.floats(1, 43_200), some.floats(1, 43_200))
def test_rounding_never_narrows_a_range(one, other):
    early, late = sorted((one, other))
    said = range_text(range_of(quantiles(early, None, late)))
    if "or later" in said:
        assert late > max(12 * early, 1440)
    elif "about" not in said:
        least, most = in_minutes(said)
        assert least <= early <= late <= most + 1e-6
