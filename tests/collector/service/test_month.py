"""Months of a facility's own time."""

from datetime import date

import pytest

from collector.reading import parse_utc
from collector.service.month import month_of

LATE = parse_utc("2027-01-01T00:00:00Z")


def test_a_month_begins_and_ends_at_the_facilitys_midnight() -> None:
    month = month_of("2026-10", "Africa/Nairobi", LATE)  # UTC+3 all year
    assert (month.from_ms, month.to_ms) == (parse_utc("2026-09-30T21:00:00Z"), parse_utc("2026-10-31T21:00:00Z"))
    assert (month.name, month.title, month.is_over, len(month.days())) == ("2026-10", "October 2026", True, 31)


def test_a_month_with_a_change_of_clocks_has_its_hour_more() -> None:
    month = month_of("2026-10", "Europe/Berlin", LATE)
    assert (month.to_ms - month.from_ms) / 3_600_000 == 31 * 24 + 1
    assert month.day_of(month.to_ms - 1) == date(2026, 10, 31)


def test_december_is_followed_by_january() -> None:
    assert month_of("2026-12", "UTC", 2 * LATE).to_ms == LATE


def test_a_month_that_lasts_goes_up_to_now() -> None:
    month = month_of("2026-10", "UTC", parse_utc("2026-10-02T10:00:00Z"))
    assert (month.is_over, month.until_ms) == (False, parse_utc("2026-10-02T10:00:00Z"))
    assert month.days() == [date(2026, 10, 1), date(2026, 10, 2)]


@pytest.mark.parametrize("text", ["2026-13", "2026-1", "October", "2026-10-01", ""])
def test_what_is_no_month_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="write it as 2026-10"):
        month_of(text, "UTC", LATE)


def test_a_month_that_has_not_begun_is_refused() -> None:
    with pytest.raises(ValueError, match="has not begun"):
        month_of("2027-01", "UTC", LATE)
