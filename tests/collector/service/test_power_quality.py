"""Power quality: by hand on a few minutes."""

from collector.rules.entries import CONDITION, JournalRow
from collector.service.power_quality import Minute, UnitSupply, losses_of, ward_power

MINUTE, HOUR = 60_000, 3_600_000


def minute(n, low, high=None, mean=None):
    return Minute(n * MINUTE, low, high or low, mean or low)


def power(minutes, hours=1, lost=(), other=()):
    units = {"a": UnitSupply(hours, tuple(minutes)), "b": UnitSupply(1 if other else 0, tuple(other))}
    return ward_power("medical", units, {"a": 230.0, "b": 230.0}, lost, lambda ms: ms // HOUR % 24)


def test_low_minutes_in_a_row_are_one_sag_and_units_of_a_ward_share_them():
    found = power([minute(1, 200), minute(2, 195), minute(3, 230), minute(9, 206)], other=[minute(3, 199)])
    sags = found.sags
    assert (sags.times, sags.minutes, sags.longest_min, sags.extreme) == (2, 4, 3, 195)
    assert found.swells.times == 0


def test_what_is_under_half_is_no_sag_and_what_is_over_is_a_swell():
    found = power([minute(1, 0), minute(2, 230, 260)])
    assert (found.without_min, found.sags.times, found.swells.times, found.swells.extreme) == (1, 0, 1, 260)


def test_hours_that_were_all_good_count_for_the_share_of_ten_minute_means():
    assert power([], hours=4).ten_min_share == 1.0
    bad = [minute(n, 200) for n in range(10)] + [minute(n, 230) for n in range(10, 60)]
    assert power(bad, hours=2).ten_min_share == 11 / 12
    assert power([], hours=0).ten_min_share is None


def test_the_worst_hour_is_the_one_with_most_minutes_outside():
    found = power([minute(1, 200), minute(61, 200), minute(62, 190, 231)], hours=2)
    assert [(one.at_ms, one.minutes, one.low, one.high) for one in found.worst] == [
        (HOUR, 2, 190, 231), (0, 1, 200, 200)]  # fmt: skip
    assert found.worst_clock_hour == 1


def row(at_ms, event, unit="a", condition="supply-lost"):
    return JournalRow(seq=at_ms, recorded_ms=0, at_ms=at_ms, kind=CONDITION, unit=unit, ward="medical",
                      condition=condition, body={"event": event})  # fmt: skip


def test_losses_are_cut_to_the_window_and_one_that_lasts_ends_with_it():
    rows = [
        row(1, "raised"),
        row(20, "cleared"),
        row(30, "raised", "", "ward-supply-lost"),
        row(40, "raised", "b", "x"),
    ]
    assert losses_of(rows, (10, 50)) == {"medical": [(10, 20), (30, 50)]}
    lasts = power([], lost=[(0, 30 * MINUTE), (HOUR, HOUR + MINUTE)])
    assert (lasts.losses, lasts.lost_min, lasts.longest_loss_min) == (2, 31.0, 30.0)
