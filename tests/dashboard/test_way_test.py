"""A test of the alarm's way stands over every screen as TEST, and what is real stays below it unchanged."""

import msgspec
import pytest

from collector.notify.waytest import WayTest
from dashboard.board import board_of
from dashboard.tiles import strip_html
from dashboard.way_test import test_text as words_of
from dashboard.way_test import tried_text
from tests.dashboard.test_board import NOW, now_of, row


def with_test(known, **changes):
    fields = {"seq": 9, "at_ms": NOW - 1000, "until_ms": NOW + 60_000, "wards": ("newborn",), "who": "Amie", **changes}
    return msgspec.structs.replace(known, way_test=WayTest(**fields))


def test_it_says_test_and_no_alarm_and_who_asked() -> None:
    said = words_of(with_test(now_of([row()])), NOW)
    assert said.startswith("TEST - NO ALARM")
    assert "by Amie" in said
    assert "What is shown below is real" in said


@pytest.mark.parametrize("at_ms", [NOW + 60_000, NOW + 10**9])
def test_it_is_gone_when_its_time_is_over_even_if_nobody_says_so(at_ms) -> None:
    assert words_of(with_test(now_of([row()])), at_ms) == ""


def test_it_stands_in_the_strip_and_what_comes_from_outside_is_escaped() -> None:
    html = strip_html(with_test(now_of([row()]), who="<b>Amie</b>"), [], NOW, NOW)
    assert '<div class="sw-test">TEST - NO ALARM' in html
    assert "&lt;b&gt;Amie" in html
    assert "sw-test" not in strip_html(now_of([row()]), [], NOW, NOW)


def test_the_board_below_is_the_same_with_and_without_it() -> None:
    known = now_of([row()])
    assert board_of(with_test(known), NOW, NOW) == board_of(known, NOW, NOW)


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({}, "never"),
        ({"wall_ms": NOW - 3_600_000, "who": "Amie", "dead": {}}, "1 h ago by Amie: all that is set up arrived"),
        ({"wall_ms": NOW, "who": "Amie", "dead": {"signal to men": "why"}}, "DEAD was signal to men"),
    ],
)
def test_the_data_page_says_when_it_was_last_tried(document, said) -> None:
    assert said in tried_text(document, NOW)
