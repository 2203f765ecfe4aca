"""Where an hour meter stands between two steps, and what that says of gaps."""

from hypothesis import given
from hypothesis import strategies as st

from collector.rules.meter import HOUR, Meter, across, forget, seen

MINUTE = HOUR // 60


def test_a_gap_is_known_exactly_once_the_meter_has_gone_on_in_sight() -> None:
    meter = Meter()
    assert seen(meter, 0, 10.0, 11.0) == 0  # it stands at 11 exactly
    assert seen(meter, 40 * MINUTE, 11.0, 11.0) == 0
    assert across(meter, 50 * MINUTE, 11.0, 12.0) == 20 * MINUTE, "the least that is certain"
    assert seen(meter, 35 * MINUTE, 12.0, 12.0) == 0
    assert seen(meter, 0, 12.0, 13.0) == 25 * MINUTE, "120 min of meter, 75 seen, 20 booked"


def test_gaps_without_a_step_between_them_are_taken_together() -> None:
    meter = Meter(since_ms=0)
    booked = across(meter, 30 * MINUTE, 11.0, 11.0) + seen(meter, 10 * MINUTE, 11.0, 11.0)
    booked += across(meter, 30 * MINUTE, 11.0, 12.0)
    assert booked == 50 * MINUTE
    assert booked + seen(meter, 0, 12.0, 13.0) == 60 * MINUTE, "no more than the gaps were long"


def test_a_meter_that_goes_back_says_nothing_more_of_the_gap() -> None:
    meter = Meter(since_ms=0)
    across(meter, 30 * MINUTE, 11.0, 11.0)
    assert seen(meter, MINUTE, 11.0, 10.5) == 0
    assert (meter.since_ms, meter.from_h) == (None, None)


def test_after_a_reset_a_gap_is_as_long_as_the_meter_says_until_a_step_is_seen() -> None:
    meter = Meter(since_ms=0)
    forget(meter)
    assert across(meter, 90 * MINUTE, 0.0, 1.0) == 60 * MINUTE
    assert across(meter, 30 * MINUTE, 1.0, 2.0) == 30 * MINUTE


@given(
    step_min=st.sampled_from([1, 6, 60]),
    spans=st.lists(st.tuples(st.booleans(), st.booleans(), st.integers(1, 200)), min_size=1, max_size=80),
)
def test_what_is_booked_is_within_a_step_of_the_truth_and_never_beyond_the_gaps(
    step_min: int, spans: list[tuple[bool, bool, int]]
) -> None:
    """Spans of (gap or seen, running or not, minutes), a reading a minute where seen."""
    meter, place, room, truth, booked, began = Meter(), 0, 0, 0, 0, False
    for gap, on, minutes in spans:
        for length in [minutes] if gap else [1] * minutes:
            before_h = place // step_min * step_min / 60
            place += length if on else 0
            now_h = place // step_min * step_min / 60
            if gap and began:
                room, truth = room + length, truth + (length if on else 0)
                booked += across(meter, length * MINUTE, before_h, now_h)
            elif not gap:
                more = seen(meter, length * MINUTE if on else 0, before_h, now_h)
                assert more >= 0
                booked += more
            began = began or meter.since_ms is not None
    assert booked <= room * MINUTE
    assert (truth - step_min - 2) * MINUTE <= booked
