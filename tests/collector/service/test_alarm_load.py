"""Which rows are alarms that a ward hears."""

from collector.rules.limits import HOUR
from collector.service.alarm_load import load_of, raised_of
from tests.collector.service.journal_rows import Rows


def heard(rows, ward="newborn"):
    """Alarms of a ward: unit, hours from and to, priority."""
    return [
        (alarm.key[0], alarm.from_ms / HOUR, None if alarm.to_ms is None else alarm.to_ms / HOUR, alarm.priority)
        for alarm in raised_of(rows).get(ward, [])
    ]


def test_what_is_raised_is_heard_until_it_is_cleared():
    assert heard(Rows().failed(1, 3).failed(5)) == [("u1", 1, 3, "high"), ("u1", 5, None, "high")]


def test_what_the_engineer_alone_is_told_is_not_the_wards():
    rows = Rows().failed(1, 3, audience=["engineer"]).failed(1, 3, condition="purity-amber", ward="east")
    assert (heard(rows), len(heard(rows, "east"))) == ([], 1)


def test_what_the_ward_is_told_later_is_heard_from_then_on_and_once():
    rows = Rows().event(1, "raised", audience=["engineer"]).event(2, "updated").event(3, "updated").event(4, "cleared")
    assert heard(rows) == [("u1", 2, 4, "high")]


def test_a_wards_own_alarm_is_one_though_it_names_many_units():
    rows = Rows().event(1, "raised", "ward-supply-lost", unit="", units_lost=9)
    assert heard(rows.event(2, "cleared", "ward-supply-lost", unit="")) == [("", 1, 2, "high")]


def test_a_ward_that_heard_nothing_is_within_everything():
    found = load_of("newborn", [], (0, 24 * HOUR))
    assert (found.alarms, found.per_10_min, found.top_share, found.floods) == (0, 0.0, 0.0, 0)
    assert all(found.within.values())


def test_only_what_was_raised_in_the_window_counts_and_an_empty_one_has_nothing():
    alarms = raised_of(Rows().failed(1, 3).failed(5, 6))["newborn"]
    assert load_of("newborn", alarms, (4 * HOUR, 8 * HOUR)).alarms == 1
    assert load_of("newborn", alarms, (4 * HOUR, 4 * HOUR)).alarms == 0
