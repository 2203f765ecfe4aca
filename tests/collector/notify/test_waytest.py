"""A test of the alarm's way stands beside what is real, for its time, and is told as a test everywhere."""

import pytest

from collector.notify.signal import told, ward_signal
from collector.notify.waytest import WayTests, way_test_in
from collector.rules import entries
from collector.rules.alarms import AlarmBoard
from collector.rules.entries import JournalRow
from collector.site import parse_site

SITE = parse_site(
    '[facility]\nid="lakeside"\n[[ward]]\nid="newborn"\n[[ward]]\nid="men"\n[[unit]]\nid="u1"\nward="newborn"'
)
RED = {"event": "raised", "priority": "high", "audience": ["ward"], "cause": "unknown", "action": "Change it."}


def row(seq=9, kind=entries.TEST_ALARM, wards=("newborn",), until_ms=2_000, **body):
    body = {"wards": wards, "until_ms": until_ms, **body}
    return JournalRow(seq=seq, recorded_ms=0, at_ms=1_000, kind=kind, who="Amie", body=body)


def signal_of(tests, ward, now_ms, board=None):
    test = tests.signal(ward, now_ms)
    return ward_signal(SITE, SITE.ward(ward), board or AlarmBoard(), [], now_ms, test=test)


def test_the_wards_signal_says_test_and_no_other_wards_does() -> None:
    tests = WayTests()
    assert tests.fold(row()) == {"newborn"}
    signal = signal_of(tests, "newborn", 1_500)
    assert (signal["test"]["seq"], signal["test"]["who"]) == (9, "Amie")
    assert signal["test"]["say"].startswith("TEST")
    assert "test" not in signal_of(tests, "men", 1_500)


def test_calm_stays_calm_and_alerts_stay_alerts() -> None:
    board = AlarmBoard()
    red = JournalRow(seq=1, recorded_ms=0, at_ms=1, kind="condition", unit="u1", ward="newborn",
                     condition="purity-red", body=RED)  # fmt: skip
    tests = WayTests()
    tests.fold(row())
    assert signal_of(tests, "newborn", 1_500)["calm"] is True
    board.fold(red)
    with_test, without = signal_of(tests, "newborn", 1_500, board), signal_of(WayTests(), "newborn", 1_500, board)
    assert with_test.pop("test")
    assert with_test == without
    assert without["alerts"][0]["condition"] == "purity-red"


def test_it_changes_what_is_told_only_when_it_begins_and_ends() -> None:
    tests = WayTests()
    before = told(signal_of(tests, "newborn", 1_000))
    tests.fold(row())
    during = [told(signal_of(tests, "newborn", at_ms)) for at_ms in (1_000, 1_500, 1_999)]
    assert len(set(during)) == 1
    assert during[0] != before
    assert told(signal_of(tests, "newborn", 2_000)) == before


def test_its_end_is_said_once() -> None:
    tests = WayTests()
    tests.fold(row())
    assert [tests.over(at_ms) for at_ms in (1_999, 2_000, 2_001)] == [frozenset(), {"newborn"}, frozenset()]


def test_a_new_test_takes_the_place_of_the_one_before() -> None:
    tests = WayTests()
    tests.fold(row())
    assert tests.fold(row(seq=12, wards=["men"], until_ms=5_000)) == {"newborn", "men"}
    assert tests.signal("newborn", 1_500) is None


def test_it_goes_on_after_a_restart() -> None:
    tests = WayTests()
    tests.fold(row())
    again = WayTests(tests.document())
    assert again.signal("newborn", 1_500) == tests.signal("newborn", 1_500)
    assert again.over(3_000) == {"newborn"}


@pytest.mark.parametrize("body", [{"wards": 7}, {"until_ms": "soon"}, {"wards": None}])
def test_a_row_that_nobody_here_wrote_is_passed_over(body) -> None:
    tests = WayTests()
    assert tests.fold(row(**body)) == frozenset()
    assert tests.last is None


def test_other_rows_and_documents_are_none() -> None:
    assert WayTests().fold(row(kind=entries.NOTE)) == frozenset()
    assert (way_test_in(None), way_test_in({}), way_test_in({"seq": "x"})) == (None, None, None)
