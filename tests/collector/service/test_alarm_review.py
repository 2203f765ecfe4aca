"""The alarm analysis: by hand on a few alarms."""

import pytest

from collector.rules.entries import ACKNOWLEDGE, JournalRow
from collector.service.alarm_load import Raised
from collector.service.alarm_review import acks_of, review, shift_at

MINUTE, HOUR = 60_000, 3_600_000
DAY = 24 * HOUR
KEY = ("unit-01", "", "purity-amber")
OTHER = ("unit-02", "", "flow-absent")


def at(hours, lasts_min=10.0, key=KEY):
    begin = int(hours * HOUR)
    return Raised(key, begin, None if lasts_min is None else begin + int(lasts_min * MINUTE), "medium")


def shift(ms):
    return shift_at(ms // HOUR % 24)


def reviewed(alarms, acks=None, window=(0, 3 * DAY)):
    return review({"medical": alarms}, acks or {}, window, shift)


def test_the_most_frequent_comes_first_with_its_share_and_how_long_it_stood():
    found = reviewed([at(1), at(2), at(3, 30), at(4, key=OTHER)]).frequent
    assert [(one.key, one.times, one.share, one.stood_min) for one in found] == [
        (KEY, 3, 0.75, 50.0), (OTHER, 1, 0.25, 10.0)]  # fmt: skip
    assert found[0].last_ms == 3 * HOUR


def test_three_in_a_minute_chatter():
    found = reviewed([at(1, 0.2), at(1 + 0.4 / 60, 0.2), at(1 + 0.8 / 60, 0.2), at(4, key=OTHER)]).frequent
    assert [one.chattering for one in found] == [True, False]


def test_what_stood_longer_than_a_day_is_stale_even_if_it_began_before_the_span():
    found = reviewed([at(1, None), at(30, key=OTHER)], window=(2 * DAY, 3 * DAY))
    assert [(ward, one.key) for ward, one in found.stale] == [("medical", KEY)]
    assert found.frequent == ()


def test_answers_are_of_the_raising_they_follow_by_the_shift_it_was_raised_in():
    acks = {KEY: [7 * HOUR + 4 * MINUTE, 23 * HOUR + 9 * MINUTE]}
    found = reviewed([at(7), at(8), at(23), at(9, key=OTHER)], acks).answers
    assert [(one.shift, one.acknowledged, one.median_min, one.p90_min, one.without) for one in found] == [
        ("early", 1, 4.0, 4.0, 2), ("night", 1, 9.0, 9.0, 0)]  # fmt: skip


def test_nine_in_ten_is_the_nearest_rank():
    alarms = [at(n) for n in range(6, 14)] + [at(6 + n + 24) for n in range(2)]
    acks = {KEY: [alarm.from_ms + (n + 1) * MINUTE for n, alarm in enumerate(alarms)]}
    answer = reviewed(alarms, acks).answers[0]
    assert (answer.acknowledged, answer.median_min, answer.p90_min) == (10, 5.5, 9.0)


@pytest.mark.parametrize(("hour", "name"), [(5, "night"), (6, "early"), (13, "early"), (14, "late"), (22, "night")])
def test_shifts(hour, name):
    assert shift_at(hour) == name


def test_acknowledgements_of_a_ward_s_alarm_are_its_ward_s():
    row = JournalRow(seq=1, recorded_ms=1, at_ms=5, kind=ACKNOWLEDGE, ward="medical", condition="ward-supply-lost")
    assert acks_of([row]) == {("", "medical", "ward-supply-lost"): [5]}


def test_nothing_is_nothing():
    empty = review({}, {}, (0, DAY), shift)
    assert (empty.frequent, empty.stale, empty.answers, empty.loads) == ((), (), (), {})
