"""When tasks are due: by hours, calendar, condition and standing idle, and what people's rows do to that."""

from __future__ import annotations

import pytest

from collector.rules import entries
from collector.rules.capacity.now import CapacityNow
from collector.rules.limits import DAY
from collector.rules.unitrow import RUNNING, UnitRow
from collector.service.due import DueTask, due_tasks
from collector.service.tasks import DEFAULTS, mark_of, tasks_of
from collector.site import Site, parse_site
from tests.collector.service.upkeep import START_MS, Journal, days_from, site_of, task

BY_HOURS = task("every_h = 1000")
BY_DAYS = task("every_days = 30")


def due(site: Site, journal: Journal, day: float, row: UnitRow | None = None) -> DueTask:
    units = {} if row is None else {row.unit: row}
    (one,) = due_tasks(site, journal.rows, units, START_MS + round(day * DAY))
    return one


def test_by_hours_it_is_due_when_the_unit_will_have_run_them() -> None:
    found = due(site_of(BY_HOURS), Journal().hours([20.0] * 30).done(10), 30)
    assert (found.why, found.overdue, found.run_h) == ("hours", False, 400)
    assert days_from(found.due_ms.p50) == pytest.approx(60, abs=4)  # 600 h to go at 20 h a day
    assert found.due_ms.p05 < found.due_ms.p50
    assert found.due_ms.p95 is not None
    assert found.due_ms.p95 > found.due_ms.p50
    assert found.due_ms.p05 >= START_MS + (30 + 600 / 24) * DAY


def test_what_is_overdue_was_due_when_the_hours_were_passed() -> None:
    found = due(site_of(BY_HOURS), Journal().hours([20.0] * 90).done(10), 90)
    assert (found.overdue, days_from(found.due_ms.p50)) == (True, 60)
    assert found.due_ms.p05 == found.due_ms.p50 == found.due_ms.p95


@pytest.mark.parametrize(("a_day", "why", "day"), [(20.0, "hours", 60), (4.0, "calendar", 110)])
def test_whichever_comes_first(a_day: float, why: str, day: float) -> None:
    site = site_of(task("every_h = 1000\nevery_days = 100"))
    found = due(site, Journal().hours([a_day] * 40).done(10), 40)
    assert found.why == why
    assert days_from(found.due_ms.p50) == pytest.approx(day, abs=2)


def test_a_unit_that_stands_keeps_its_calendar_and_runs_no_hours() -> None:
    site = site_of(task("every_h = 1000\nevery_days = 300"), "in_service = false")
    found = due(site, Journal().hours([20.0] * 30 + [0.0] * 30).done(0), 60)
    assert (found.why, days_from(found.due_ms.p50)) == ("calendar", 300)


def test_a_meter_that_is_reset_or_replaced_moves_nothing() -> None:
    site, plain, reset = site_of(BY_HOURS), Journal(), Journal()
    plain.hours([20.0] * 60, meter_h=500)
    reset.hours([20.0] * 60, meter_h=500)
    for row in reset.rows[30:]:
        row.body["meter_h"] = row.body["meter_h"] - 1100
    reset.add(30, entries.HOUR_METER, from_h=1100, to_h=0, what="went back: reset or replaced")
    assert due(site, plain.done(20), 60) == due(site, reset.done(20), 60)


def test_done_early_or_late_the_next_one_counts_from_then() -> None:
    site = site_of(BY_DAYS)
    assert days_from(due(site, Journal().done(0).done(10), 12).due_ms.p50) == 40
    assert days_from(due(site, Journal().done(0).done(45), 46).due_ms.p50) == 75
    # Written down late, and out of order, counts from when it was done.
    assert days_from(due(site, Journal().done(20).done(15), 21).due_ms.p50) == 50


def test_could_not_locate_and_put_off_are_counted_and_move_nothing() -> None:
    journal = Journal().done(0).done(31, outcome=entries.COULD_NOT_LOCATE).done(32, outcome=entries.COULD_NOT_LOCATE)
    journal.done(33, outcome=entries.PUT_OFF)
    found = due(site_of(BY_DAYS), journal, 34)
    assert (found.could_not_locate, found.put_off, found.overdue, days_from(found.due_ms.p50)) == (2, 1, True, 30)
    found = due(site_of(BY_DAYS), journal.done(35), 36)
    assert (found.could_not_locate, found.put_off, found.overdue) == (0, 0, False)


def test_without_any_record_hours_count_from_new_by_the_meter() -> None:
    found = due(site_of(BY_HOURS), Journal().hours([10.0] * 10, meter_h=5000), 10)
    assert (found.overdue, found.last_done_ms, found.run_h) == (True, None, 5100)
    found = due(site_of(BY_HOURS, "hour_meter_h = 400"), Journal().hours([10.0] * 10), 10)
    assert (found.overdue, found.run_h) == (False, 500)


def test_without_any_record_days_count_from_the_date_in_service() -> None:
    site = site_of(BY_DAYS, "in_service = 2024-10-14")
    assert days_from(due(site, Journal(), 5).due_ms.p50) == pytest.approx(20_010 + 30 - 20_000)
    # and without a date from when it was first followed.
    assert days_from(due(site_of(BY_DAYS), Journal().hours([1.0] * 3, first_day=4), 8).due_ms.p50) == 34


def test_done_before_it_was_followed_counts_by_the_meter_written_down() -> None:
    journal = Journal().done(-100, meter_h=4500).hours([10.0] * 10, meter_h=5000)
    found = due(site_of(BY_HOURS), journal, 10)
    assert (found.run_h, found.overdue) == (600, False)
    found = due(site_of(BY_HOURS), Journal().done(-100).hours([10.0] * 10), 10)
    assert found.run_h == pytest.approx(100 + 100 * 10.5, abs=50)  # about as much a day as since
    assert found.due_ms.p05 < found.due_ms.p50 < (found.due_ms.p95 or 0)


def test_hours_that_nobody_can_account_for_widen_the_range() -> None:
    journal = Journal().hours([20.0] * 40)
    for row in journal.rows[21:]:
        row.body.update(observed_h=400.0, unknown_h=(row.seq - 21) * 24.0)
    found = due(site_of(BY_HOURS), journal.done(0), 40)
    # known 400; 480 h unknown: all of them, as many as it runs otherwise, or none.
    assert found.run_h == pytest.approx(400 + 480 * 20 / 24, abs=70)  # the prior draws it to 12 h a day
    assert found.due_ms.p95 is not None
    spread = (found.due_ms.p05 - START_MS) / DAY, (found.due_ms.p95 - START_MS) / DAY
    assert spread[0] <= 40 + 120 / 20
    assert spread[1] >= 40 + 600 / 24


def test_silence_makes_nothing_due_by_its_median() -> None:
    journal = Journal().hours([20.0] * 30).done(0)
    assert not due(site_of(BY_HOURS), journal, 200).overdue
    assert due(site_of(BY_HOURS), journal, 200).due_ms.p05 <= START_MS + 200 * DAY


SIGNS = task('condition = ["sieve-worn", "sieve-wet"]', "sieve")


def test_a_cause_makes_its_task_due_until_it_is_done() -> None:
    site, journal = site_of(SIGNS), Journal().event(3, "capacity-falling", "sieve-wet")
    found = due(site, journal, 4)
    assert (found.why, found.sign, found.overdue, days_from(found.due_ms.p50)) == ("condition", "sieve-wet", True, 3)
    assert due(site, journal.event(5, "capacity-falling", event="cleared"), 9).overdue  # switched off is not mended
    assert due_tasks(site, journal.done(10, "sieve").rows, {}, START_MS + 11 * DAY) == []


@pytest.mark.parametrize("kind", [entries.WORK_CLOSED, entries.PURITY_PROOF])
def test_work_that_is_closed_and_a_passed_check_answer_every_sign(kind: str) -> None:
    journal = Journal().event(3, "purity-red", "sieve-wet").event(3.5, "purity-red", event="cleared")
    journal.add(4, kind, work="w", result=entries.PASS)
    assert due_tasks(site_of(SIGNS), journal.rows, {}, START_MS + 9 * DAY) == []


def test_a_sign_that_stands_on_after_the_task_is_a_reason_again() -> None:
    site, journal = site_of(SIGNS), Journal().event(3, "capacity-falling", "sieve-wet").done(4, "sieve")
    assert due_tasks(site, journal.rows, {}, START_MS + 5 * DAY) == []
    assert days_from(due(site, journal, 7).due_ms.p50) == 6


def test_a_cause_that_the_rules_changed_their_mind_about_is_gone() -> None:
    journal = Journal().event(3, "capacity-falling", "sieve-wet").event(4, "capacity-falling", "leak", "updated")
    assert due_tasks(site_of(SIGNS), journal.rows, {}, START_MS + 5 * DAY) == []


def test_a_condition_counts_as_long_as_it_stands() -> None:
    site, journal = site_of(task('condition = "capacity-falling"')), Journal().event(3, "capacity-falling")
    assert due(site, journal, 4).sign == "capacity-falling"
    journal.event(5, "capacity-falling", event="cleared")
    assert due_tasks(site, journal.rows, {}, START_MS + 6 * DAY) == []


def test_a_sag_is_over_when_it_is_over() -> None:
    site, journal = site_of(task('condition = "supply-voltage-low"')), Journal()
    journal.event(3, "supply-poor", "supply-voltage-low")
    assert due(site, journal, 4).sign == "supply-voltage-low"
    journal.event(5, "supply-poor", "supply-voltage-low", "cleared")
    assert due_tasks(site, journal.rows, {}, START_MS + 6 * DAY) == []


def test_the_estimate_tells_its_cause_before_any_event_does() -> None:
    now = CapacityNow(at_ms=START_MS, p05_lpm=3, p50_lpm=4, p95_lpm=5, seen=True, cause="sieve-worn")
    row = UnitRow(unit="u1", last_ms=START_MS, phase=RUNNING, capacity=now)
    assert due(site_of(SIGNS), Journal(), 0.5, row).sign == "sieve-worn"
    assert due_tasks(site_of(SIGNS), [], {"u1": row}, START_MS + 3 * DAY) == []  # of three days ago


PROOF = task("every_days = 30\nproof = true", "purity-check")


def test_a_check_is_done_by_a_passed_proof_and_by_nothing_else() -> None:
    site, journal = site_of(PROOF), Journal().add(0, entries.PURITY_PROOF, result=entries.PASS)
    assert days_from(due(site, journal, 1).due_ms.p50) == 30
    assert days_from(due(site, journal.done(20, "purity-check"), 21).due_ms.p50) == 30
    found = due(site, journal.add(22, entries.PURITY_PROOF, result=entries.FAIL), 23)
    assert (found.overdue, found.why, found.sign, days_from(found.due_ms.p50)) == (
        True,
        "condition",
        "check-failed",
        22,
    )
    assert days_from(due(site, journal.add(24, entries.PURITY_PROOF, result=entries.PASS), 25).due_ms.p50) == 54


def test_a_check_is_due_once_work_on_the_unit_is_closed() -> None:
    site, journal = site_of(PROOF), Journal().add(0, entries.PURITY_PROOF, result=entries.PASS)
    journal.add(3, entries.WORK_OPENED, work="w1")
    assert not due(site, journal, 4).overdue
    found = due(site, journal.add(5, entries.WORK_CLOSED, work="w1"), 6)
    assert (found.sign, days_from(found.due_ms.p50)) == ("repaired", 5)


def test_a_unit_that_came_back_from_repair_without_a_check_is_to_be_checked() -> None:
    site, journal = site_of(PROOF), Journal().add(0, entries.PURITY_PROOF, result=entries.PASS)
    journal.add(3, entries.OUT_OF_SERVICE, reason="noisy")
    assert not due(site, journal, 4).overdue
    found = due(site, journal.add(5, entries.RETURN_TO_SERVICE, reason="needed"), 6)
    assert (found.sign, days_from(found.due_ms.p50)) == ("returned", 5)
    stored = Journal().add(0, entries.PURITY_PROOF, result=entries.PASS)
    stored.add(3, entries.OUT_OF_SERVICE, reason="spare", **{"for": "store"}).add(5, entries.RETURN_TO_SERVICE)
    assert not due(site, stored, 6).overdue


def test_a_check_made_before_the_order_is_closed_is_the_repairs_own() -> None:
    journal = Journal().add(3, entries.WORK_OPENED, work="w1").add(4, entries.PURITY_PROOF, result=entries.PASS)
    assert not due(site_of(PROOF), journal.add(5, entries.WORK_CLOSED, work="w1"), 6).overdue


def test_a_task_that_changes_parts_of_the_unit_makes_a_check_due() -> None:
    filters = task('every_days = 30\nparts = ["felt"]')
    site = site_of(PROOF + filters + task("every_days = 7\ntakes_unit_out = false", "wash"))
    journal = Journal().add(0, entries.PURITY_PROOF, result=entries.PASS).done(3, "wash")
    checks = [one for one in due_tasks(site, journal.rows, {}, START_MS + 4 * DAY) if one.proof]
    assert not checks[0].overdue
    checks = [one for one in due_tasks(site, journal.done(4).rows, {}, START_MS + 5 * DAY) if one.proof]
    assert (checks[0].sign, days_from(checks[0].due_ms.p50)) == ("parts-changed", 4)


IDLE = task("idle_days = 14", "run-up")


def test_a_unit_that_stands_is_to_be_run_up() -> None:
    site, journal = site_of(IDLE), Journal().hours([5.0] * 10 + [0.0] * 20)
    assert days_from(due(site, journal, 15).due_ms.p50) == 24
    assert days_from(due(site, journal.done(26, "run-up"), 28).due_ms.p50) == 40
    running = UnitRow(unit="u1", last_ms=START_MS + 30 * DAY, phase=RUNNING)
    assert due_tasks(site, journal.rows, {"u1": running}, START_MS + 30 * DAY) == []


def test_a_model_without_tasks_has_the_defaults_each_with_its_mark() -> None:
    site = parse_site('[facility]\nid="lake"\n[[unit]]\nid="u1"\n')
    assert tasks_of(site, "u1") == tuple(default.task for default in DEFAULTS)
    assert all(mark_of(one) for one in tasks_of(site, "u1"))
    found = due_tasks(site, Journal().hours([20.0] * 10).rows, {}, START_MS + 10 * DAY)
    assert all(one.mark for one in found)
    assert due(site_of(BY_DAYS), Journal(), 0).mark == ""


def test_an_empty_site_and_a_unit_nobody_ever_heard_of() -> None:
    assert due_tasks(parse_site('[facility]\nid="lake"'), [], {}, START_MS) == []
    assert not due(site_of(BY_HOURS), Journal(), 0).overdue
