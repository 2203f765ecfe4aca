"""What must hold of due dates whatever a unit's past is."""

from __future__ import annotations

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.rules import entries
from collector.rules.limits import DAY
from collector.rules.unitrow import OFF, PHASES, UnitRow
from collector.service.due import DueTask, due_tasks, dues_of
from collector.service.record import Record, record_of
from collector.service.running import LOOK_BACK_DAYS
from tests.collector.service.upkeep import START_MS, Journal, site_of, task

ALL = (
    task("every_h = 900\nevery_days = 200")
    + task("every_h = 4400", "intake")
    + task("every_days = 30\nproof = true", "purity-check")
    + task("idle_days = 14", "run-up")
    + task('condition = ["sieve-wet", "capacity-falling"]', "sieve")
)
TASKS = ("filter", "intake", "run-up", "sieve", "purity-check")
CAUSES = ("sieve-wet", "leak", "unknown")

hours = st.lists(st.floats(0, 24), min_size=1, max_size=120)
moments = st.floats(-40, 130)
work = st.lists(
    st.one_of(
        st.tuples(st.just("task"), moments, st.sampled_from(TASKS), st.sampled_from(entries.OUTCOMES)),
        st.tuples(st.just("proof"), moments, st.just(""), st.sampled_from([entries.PASS, entries.FAIL])),
        st.tuples(
            st.just("event"), moments, st.sampled_from(CAUSES), st.sampled_from(["raised", "updated", "cleared"])
        ),
        st.tuples(st.just("work"), moments, st.just("w1"), st.sampled_from([entries.WORK_OPENED, entries.WORK_CLOSED])),
    ),
    max_size=12,
)


def journal_of(ran: list[float], deeds: list[tuple[str, float, str, str]], meter_h: float | None = None) -> Journal:
    journal = Journal().hours(ran, meter_h=meter_h)
    for kind, day, what, how in deeds:
        if kind == "task":
            journal.done(day, what, how)
        elif kind == "proof":
            journal.add(day, entries.PURITY_PROOF, result=how)
        elif kind == "work":
            journal.add(day, how, work=what)
        else:
            journal.event(day, "capacity-falling", what, how)
    return journal


@settings(max_examples=150, deadline=None)
@given(hours, work, st.floats(0, 400), st.sampled_from(PHASES), st.booleans())
def test_moments_are_in_order_and_each_task_stands_once(
    ran: list[float], deeds: list[tuple[str, float, str, str]], day: float, phase: str, used: bool
) -> None:
    site = site_of(ALL, "" if used else "in_service = false")
    row = UnitRow(unit="u1", last_ms=START_MS + len(ran) * DAY, phase=phase, observed_h=sum(ran))
    now_ms = START_MS + round(day * DAY)
    found = due_tasks(site, journal_of(ran, deeds).rows, {"u1": row}, now_ms)
    assert len({one.task for one in found}) == len(found)
    assert [one.due_ms.p50 for one in found] == sorted(one.due_ms.p50 for one in found)
    for one in found:
        assert one.due_ms.p05 <= one.due_ms.p50
        assert one.due_ms.p95 is None or one.due_ms.p50 <= one.due_ms.p95
        assert one.overdue == (one.due_ms.p50 <= now_ms)
        assert one.run_h is None or one.run_h >= 0


def _by_task(found: list[DueTask]) -> dict[str, DueTask]:
    return {one.task: one for one in found}


@settings(max_examples=100, deadline=None)
@given(hours, work, st.lists(st.floats(0, 90_000), min_size=121, max_size=121))
def test_what_the_meter_shows_later_moves_nothing(
    ran: list[float], deeds: list[tuple[str, float, str, str]], shown: list[float]
) -> None:
    """Only its first value counts: for the time before the unit was followed."""
    site, now_ms = site_of(ALL), START_MS + len(ran) * DAY
    journal = journal_of(ran, deeds, meter_h=100.0)
    before = due_tasks(site, journal.rows, {}, now_ms)
    for row, meter_h in zip(journal.rows[1 : len(ran) + 1], shown, strict=False):
        row.body["meter_h"] = meter_h
    assert due_tasks(site, journal.rows, {}, now_ms) == before


@settings(max_examples=100, deadline=None)
@given(hours, st.floats(0, 1), st.floats(0, 3))
def test_who_runs_more_is_due_no_later(ran: list[float], part: float, more_h: float) -> None:
    site, day = site_of(task("every_h = 900")), len(ran)
    busier = [min(24.0, hours + more_h) for hours in ran]
    done = part * day
    found = [due_tasks(site, Journal().hours(one).done(done).rows, {}, START_MS + day * DAY) for one in (ran, busier)]
    if all(found):
        (less,), (more,) = found
        assert (more.run_h or 0) >= (less.run_h or 0) - 0.11  # rounded to a tenth
        assert more.due_ms.p50 <= less.due_ms.p50 + 1


@settings(max_examples=100, deadline=None)
@given(hours, work, st.integers(0, 130))
def test_a_task_that_was_just_done_is_not_overdue(
    ran: list[float], deeds: list[tuple[str, float, str, str]], day: int
) -> None:
    site, journal = site_of(ALL), journal_of(ran, [deed for deed in deeds if deed[1] <= day])
    for one in ("filter", "intake", "run-up"):
        journal.done(day, one)
    found = _by_task(due_tasks(site, journal.rows, {}, START_MS + day * DAY + 1))
    assert not any(found[one].overdue for one in ("filter", "intake", "run-up") if one in found)


@settings(max_examples=60, deadline=None)
@given(hours, work, st.integers(0, 140))
def test_a_record_that_was_stored_in_between_says_the_same(
    ran: list[float], deeds: list[tuple[str, float, str, str]], cut: int
) -> None:
    site, rows = site_of(ALL), journal_of(ran, deeds).rows
    record = record_of(site, rows[:cut])
    again = msgspec.convert(msgspec.json.decode(msgspec.json.encode(record)), Record)
    for row in rows[cut:]:
        again.fold(row, site)
    assert again == record_of(site, rows)


def test_years_are_thinned_and_nothing_moves() -> None:
    """Days around something done are kept, so hours since then are as exact as before."""
    site, ran = site_of(ALL), [(day * 7 % 25) * 0.96 for day in range(1500)]
    journal = Journal().done(-1, "intake", meter_h=0.0)
    rows = journal.hours(ran, meter_h=10.0).rows
    done_at = {"filter": 900.4, "intake": 700.3}
    for number, day in done_at.items():
        late = Journal().done(day, number).rows[0]
        rows.insert(next(i for i, row in enumerate(rows) if row.at_ms > late.at_ms), late)
    record = record_of(site, rows)
    assert len(record.units["u1"].points) <= 2 * LOOK_BACK_DAYS + 6
    found = _by_task(dues_of(site, record, {}, START_MS + 1500 * DAY))
    for task_id, day in done_at.items():
        since = sum(ran[int(day) + 1 :]) + ran[int(day)] * (1 - day % 1)
        assert abs((found[task_id].run_h or 0) - since) <= 0.06


def test_an_off_unit_that_nobody_hears_of_runs_nothing() -> None:
    site, journal = site_of(task("every_h = 900")), Journal().hours([20.0] * 20).done(0)
    off = UnitRow(unit="u1", last_ms=START_MS + 20 * DAY, phase=OFF, observed_h=400.0)
    (one,) = due_tasks(site, journal.rows, {"u1": off}, START_MS + 60 * DAY)
    assert one.due_ms.p05 >= START_MS + (60 + 500 / 24) * DAY - 1
