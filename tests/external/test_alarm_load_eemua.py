"""The measures of alarm load against EEMUA 191 and ISA-18.2 / IEC 62682.

Sources: EEMUA 191 as quoted in secondary sources (1 alarm in 10 min on average; more than 10 in 10 min is a flood; more
than 24 h is stale; on and off 3 times in a minute is chattering; 80 / 15 / 5 % by priority); from memory: a flood ends
with 10 min under 5, under 1 % of the time above 10 in 10 min or 30 in an hour, fewer than 5 stale.
"""

from collector.rules.limits import DAY, HOUR, MINUTE
from collector.service.alarm_load import AlarmLoad, Raised, load_of

PERIOD = 10 * MINUTE


def raised(*at_ms: int, lasts_ms: int | None = MINUTE, unit: str = "u1", priority: str = "low") -> list[Raised]:
    return [
        Raised((unit, "", "purity-amber"), at, None if lasts_ms is None else at + lasts_ms, priority) for at in at_ms
    ]


def spread(period: int, count: int) -> list[Raised]:
    """So many alarms in one period of ten minutes, of as many units."""
    return [alarm for n in range(count) for alarm in raised(period * PERIOD + n * 20_000, unit=f"u{n}")]


def load(alarms: list[Raised], hours: int = 24) -> AlarmLoad:
    return load_of("ward", alarms, (0, hours * HOUR))


def test_one_in_ten_minutes_is_acceptable_on_average_and_more_is_not() -> None:
    steady = [alarm for period in range(144) for alarm in spread(period, 1)]
    assert (load(steady).per_10_min, load(steady).per_day) == (1.0, 144.0)
    assert load(steady).within["average"]
    assert not load(steady + spread(7, 2)).within["average"]


def test_ten_in_ten_minutes_are_no_flood_and_eleven_are() -> None:
    assert load(spread(3, 10)).floods == 0
    assert (load(spread(3, 11)).floods, load(spread(3, 11)).most_in_10_min) == (1, 11)


def test_a_flood_lasts_until_ten_minutes_with_under_five() -> None:
    found = load(spread(3, 11) + spread(4, 5) + spread(5, 7) + spread(6, 4) + spread(7, 9))
    assert (found.floods, found.flood_share, found.periods_over) == (1, 3 / 144, 1 / 144)


def test_two_floods_with_calm_between_are_two() -> None:
    assert load(spread(3, 12) + spread(9, 12)).floods == 2


def test_over_thirty_in_an_hour_is_counted_by_the_hour() -> None:
    busy = [alarm for period in range(6) for alarm in spread(period, 6)]
    assert load(busy).hours_over == 1 / 24
    assert load(busy[:30]).hours_over == 0


def test_an_alarm_that_stands_for_more_than_a_day_is_stale() -> None:
    old, young = raised(0, lasts_ms=DAY + 1), raised(0, lasts_ms=DAY, unit="u2")
    assert load(old + young, hours=48).stale == (("u1", "", "purity-amber"),)
    assert load(raised(-DAY, lasts_ms=None), hours=1).stale == (("u1", "", "purity-amber"),)


def test_three_times_in_a_minute_is_chattering() -> None:
    assert load(raised(0, 30_000, 60_000, lasts_ms=1000)).chattering == (("u1", "", "purity-amber"),)
    assert load(raised(0, 30_000, 60_001, lasts_ms=1000)).chattering == ()
    assert load(raised(0, 30_000, lasts_ms=1000) + raised(60_000, unit="u2")).chattering == ()


def test_the_split_by_priority_and_the_share_of_the_ten_most_frequent() -> None:
    many = [alarm for n in range(20) for alarm in raised(n * HOUR, unit=f"u{n}", priority="low" if n < 16 else "high")]
    found = load(many)
    assert dict(found.priorities) == {"low": 0.8, "medium": 0.0, "high": 0.2}
    assert found.top_share == 0.5
