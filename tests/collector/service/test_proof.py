"""Checks of purity: what passes, what is no check at all, and whose calibration counts."""

from datetime import date

import pytest

from collector.rules.entries import FAIL, PASS
from collector.service.proof import (
    Measured,
    NotUsable,
    calibration_of,
    calibrations,
    judge_proof,
    limit_of,
    proofs_of,
    usable_analyser,
)  # fmt: skip
from collector.site import Analyser, Model
from tests.collector.service.service_rows import DAY, NOW, SITE, Book

MODEL = Model(id="five", rated_flow_lpm=5.0)


def judged(as_left_pct, uncertainty_pct=1.0, flow_lpm=5.0, as_found_pct=None, model=MODEL):
    analyser = Analyser(id="a", uncertainty_pct=uncertainty_pct, calibrated=date(2026, 3, 1))
    return judge_proof(model, analyser, Measured(as_found_pct, as_left_pct, flow_lpm))


@pytest.mark.parametrize(
    ("as_left_pct", "uncertainty_pct", "result"),
    [(83.0, 1.0, PASS), (82.99, 1.0, FAIL), (82.0, 0.0, PASS), (84.0, 2.1, FAIL), (82.3, 0.3, PASS), (60.0, 1.0, FAIL)],
)
def test_the_analyser_s_uncertainty_counts_against_the_unit(as_left_pct, uncertainty_pct, result):
    assert judged(as_left_pct, uncertainty_pct).result == result


def test_a_model_may_ask_for_more_than_82_but_not_for_less():
    strict = Model(id="s", red_pct=86.0, amber_pct=90.0)
    lax = Model(id="l", red_pct=75.0, amber_pct=80.0)
    assert (limit_of(strict), limit_of(lax)) == (86.0, 82.0)
    assert judged(84.0, model=strict).result == FAIL
    assert judged(81.0, model=lax).result == FAIL


def test_a_unit_that_does_not_reach_its_rated_flow_does_not_pass_however_pure():
    assert judged(95.0, flow_lpm=4.4).result == FAIL
    assert "not proven at rated flow" in judged(95.0, flow_lpm=2.0).why
    assert judged(95.0, flow_lpm=4.5).result == PASS


@pytest.mark.parametrize(
    ("left", "flow", "found", "said"),
    [(float("nan"), 5.0, None, "between 0 and 100"), (101.0, 5.0, None, "between 0 and 100"),
     (-1.0, 5.0, None, "between 0 and 100"), (93.0, 5.0, 130.0, "as found"), (97.0, 5.0, None, "the analyser is wrong"),
     (93.0, 0.0, None, "flow"), (93.0, float("inf"), None, "flow"), (60.0, 7.0, None, "Set 5 L/min")],
)  # fmt: skip
def test_what_no_check_can_show_is_refused(left, flow, found, said):
    with pytest.raises(NotUsable, match=said):
        judged(left, flow_lpm=flow, as_found_pct=found)


def test_more_than_a_sieve_gives_is_believed_as_far_as_the_analyser_may_err():
    assert judged(96.5, 0.3).result == PASS
    assert judged(97.7, 2.0).result == PASS
    with pytest.raises(NotUsable):
        judged(97.8, 2.0)


def test_calibration_ends_on_its_last_day():
    analyser = Analyser(id="a", calibrated=date(2025, 9, 21))
    assert calibration_of(analyser, date(2026, 9, 21)).good
    late = calibration_of(analyser, date(2026, 9, 22))
    assert (late.good, late.days_left, late.why) == (False, -1, "the calibration of a ran out on 21 Sep 2026")
    assert "still to come" in calibration_of(analyser, date(2025, 9, 20)).why


def test_the_facility_s_day_counts():
    evening_utc = 1_790_000_000_000 + 8 * 3_600_000  # 22:13 UTC of 21 September is the 22nd in Nairobi
    (today,), (tomorrow,) = ([one.days_left for one in calibrations(SITE, ms) if one.good] for ms in (NOW, evening_utc))
    assert (today, tomorrow) == (161, 160)


def test_an_overdue_analyser_is_refused_with_the_way_out():
    with pytest.raises(NotUsable, match=r"ran out on 1 Mar 2026\. Use Bench analyser \(until 1 Mar 2027\)"):
        usable_analyser(SITE, "old", NOW)
    with pytest.raises(NotUsable, match="no calibration date"):
        usable_analyser(SITE, "new", NOW)
    with pytest.raises(NotUsable, match="has the id 'none'"):
        usable_analyser(SITE, "none", NOW)
    with pytest.raises(NotUsable, match="Have one calibrated"):
        usable_analyser(SITE, "bench", NOW + 365 * DAY)


def test_those_that_cannot_be_used_come_first():
    assert [one.analyser for one in calibrations(SITE, NOW)] == ["new", "old", "bench"]


def test_checks_of_one_unit_in_the_order_of_writing():
    book = Book()
    book.proof(90.0, at_ms=NOW)
    book.proof(80.0, "fail", at_ms=NOW - DAY)
    book.proof(unit="u2")
    assert [(one.as_left_pct, one.passed) for one in proofs_of(book.rows, "u1")] == [(90.0, True), (80.0, False)]
    assert len(proofs_of(book.rows)) == 3
