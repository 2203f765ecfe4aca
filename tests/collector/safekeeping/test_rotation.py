"""Which copies stay."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as some

from collector.safekeeping import Rotation

START = datetime(2026, 1, 1, 2, tzinfo=UTC)


def nights(count):
    return {f"n{night:03d}": int((START + timedelta(days=night)).timestamp() * 1000) for night in range(count)}


def test_a_year_of_nights_leaves_days_weeks_and_months() -> None:
    made = nights(365)
    left = sorted(set(made) - set(Rotation().to_drop(made, "n364")))
    assert left[-7:] == [f"n{night}" for night in range(358, 365)]
    assert len(left) <= 7 + 5 + 12
    assert left[0] == "n030"  # the last night of January


def test_night_after_night_comes_to_the_same() -> None:
    kept: dict[str, int] = {}
    for name, at_ms in nights(365).items():
        kept[name] = at_ms
        for gone in Rotation().to_drop(kept, name):
            del kept[gone]
    made = nights(365)
    assert set(kept) == set(made) - set(Rotation().to_drop(made, "n364"))


def test_the_copy_just_made_stays_when_the_clock_stood_in_the_past() -> None:
    made = nights(30) | {"now": 0}
    assert "now" not in Rotation(daily=1, weekly=0, monthly=0).to_drop(made, "now")


@given(some.lists(some.integers(0, 2_000_000_000_000), min_size=1, max_size=40), some.integers(1, 9))
def test_something_always_stays_and_never_more_than_asked_for(moments, daily) -> None:
    made = {f"c{place}": at_ms for place, at_ms in enumerate(moments)}
    gone = Rotation(daily=daily, weekly=2, monthly=3).to_drop(made, "c0")
    left = set(made) - set(gone)
    assert "c0" in left
    assert max(made, key=lambda name: made[name]) in left or max(made.values()) in {made[name] for name in left}
    assert len(left) <= daily + 2 + 3 + 1
