"""Telling what is due: once a day, ended by the work that is written down, never coming and going."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.dues import STATUS, Dues, load_dues, record_now
from collector.followed import Followed
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.events import CLEARED, RAISED
from collector.rules.limits import DAY, HOUR, MINUTE
from collector.site import Site
from collector.store import open_store
from tests.collector.service.upkeep import START_MS, Journal, site_of, task

MONTHLY = task("every_days = 30")
CHECK = task("every_days = 30\nproof = true", "purity-check")


class Told:
    """A journal that is judged as the collector does it: what is told is written and folded."""

    def __init__(self, site: Site, journal: Journal | None = None) -> None:
        self.journal = journal or Journal()
        self.dues, self.events = Dues(site), list[tuple[float, str, str]]()
        self.catch_up()

    def catch_up(self) -> None:
        self.dues.fold(self.journal.rows)

    def at(self, day: float) -> list[tuple[float, str, str]]:
        """Judge at this moment: (day, event, condition) of each thing told."""
        self.catch_up()
        news = self.dues.news(START_MS + round(day * DAY))
        told = [((entry.at_ms - START_MS) / DAY, str(entry.body["event"]), entry.condition) for entry in news]
        self.journal.write(news)
        self.catch_up()
        self.events += told
        return told


def test_it_is_told_once_as_of_the_midnight_after_and_ended_by_the_work() -> None:
    told = Told(site_of(MONTHLY), Journal().done(0.5))
    assert told.at(30.4) == []
    assert told.at(31 + 14 / 1440) == []  # the day's hours are still being written down
    assert told.at(31 + 16 / 1440) == [(31, "raised", "service-due")]
    assert told.at(31.5) == told.at(32.5) == []
    told.journal.done(33.25)
    assert told.at(33.3) == [(33.25, "cleared", "service-due")]
    assert told.at(34.5) == []


def test_work_written_down_late_ends_it_too() -> None:
    told = Told(site_of(MONTHLY), Journal().done(0))
    assert told.at(31)
    told.journal.done(29)
    assert told.at(31.5) == [(31, "cleared", "service-due")]


def test_could_not_locate_ends_nothing() -> None:
    told = Told(site_of(MONTHLY), Journal().done(0))
    assert told.at(31)
    told.journal.done(31.2, outcome=entries.COULD_NOT_LOCATE)
    assert told.at(31.3) == []


def test_a_second_task_is_an_update_and_the_last_one_ends_it() -> None:
    site = site_of(MONTHLY + task("every_days = 32", "other"))
    told = Told(site, Journal().done(0).done(0, "other"))
    assert [event for _, event, _ in (told.at(31) + told.at(33))] == ["raised", "updated"]
    evidence = told.journal.rows[-1].body["evidence"]
    assert (evidence["tasks"], evidence["first"], evidence["why"]) == (["filter", "other"], "Filter", "calendar")
    told.journal.done(33.1)
    assert [event for _, event, _ in told.at(33.2)] == ["updated"]
    told.journal.done(33.3, "other")
    assert [event for _, event, _ in told.at(33.4)] == ["cleared"]


def test_a_check_is_told_as_verification_due_and_ended_by_a_passed_proof() -> None:
    told = Told(site_of(CHECK), Journal().add(0, entries.PURITY_PROOF, result=entries.PASS))
    assert told.at(31) == [(30, "raised", "verification-due")]
    told.journal.add(31.1, entries.PURITY_PROOF, result=entries.FAIL)
    assert told.at(31.2) == []
    told.journal.add(31.3, entries.PURITY_PROOF, result=entries.PASS)
    assert told.at(31.4) == [(31.3, "cleared", "verification-due")]
    told.journal.add(32, entries.PURITY_PROOF, result=entries.FAIL)
    assert told.at(32.1) == [(32, "raised", "verification-due")]


def test_the_wards_own_round_is_never_told() -> None:
    assert Told(site_of(task('every_days = 7\nby = "ward"')), Journal().done(0)).at(20) == []


def test_what_has_an_alarm_of_its_own_is_not_told_again() -> None:
    site = site_of(task('condition = ["capacity-falling", "sieve-worn"]'))
    told = Told(site, Journal().event(1, "capacity-falling"))
    assert told.at(2.5) == []
    told.journal.event(3, "capacity-falling", "sieve-worn", "updated")
    assert told.at(4.5) == [(4, "raised", "service-due")]
    assert told.journal.rows[-1].body["cause"] == "sieve-worn"


def test_an_estimate_that_moves_never_makes_it_come_and_go() -> None:
    """Hours that were unknown turn out fewer than thought: what was told stays told."""
    journal = Journal().hours([20.0] * 40).done(0)
    told = Told(site_of(task("every_h = 800")), journal)
    assert told.at(41) == [(40, "raised", "service-due")]
    unit = told.dues.record.units["u1"]
    unit.points = [point._replace(known_h=point.known_h * 0.95) for point in unit.points]
    assert told.at(43) == []


def test_days_without_a_collector_are_not_made_up_for() -> None:
    told = Told(site_of(MONTHLY), Journal().done(0))
    assert told.at(50.5) == [(50, "raised", "service-due")]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 90 * 24), st.sampled_from(["done", "could-not-locate", "pass", "fail"])), max_size=12
    ),
    st.lists(st.floats(0, 24), min_size=90, max_size=90),
    st.lists(st.integers(1, 89), max_size=4),
)
def test_raised_and_cleared_take_turns_and_restarts_change_nothing(
    work: list[tuple[int, str]], ran: list[float], restarts: list[int]
) -> None:
    """At most one event a condition and judgement; a collector that restarts from what it stored tells the same."""
    site = site_of(task("every_h = 300\nevery_days = 40") + CHECK)
    rows = sorted([(day, "hours") for day in range(91)] + [(hour / 24, what) for hour, what in work])
    plain, restarted = Told(site), Told(site)
    total = 0.0
    for told in (plain, restarted):
        total = 0.0
        for day, what in rows:
            if what == "hours":
                total += ran[int(day) - 1] if day else 0.0
                told.journal.add(day, entries.SERVICE_HOURS, observed_h=total, inferred_h=0.0, unknown_h=0.0)
                if told is restarted and day in restarts:
                    document = told.dues.document()
                    told.dues = Dues(
                        site, msgspec.convert(document["record"], type(told.dues.record)), told.dues.judged_ms
                    )
            elif what in (entries.PASS, entries.FAIL):
                told.journal.add(day, entries.PURITY_PROOF, result=what)
            else:
                told.journal.done(day, outcome=what)
            told.at(day + 0.02)
    assert plain.events == restarted.events
    for condition in ("service-due", "verification-due"):
        said = [event for _, event, name in plain.events if name == condition and event != "updated"]
        assert said == [RAISED, CLEARED] * (len(said) // 2) + [RAISED] * (len(said) % 2)


def _entry(day: float, kind: str, **body: object) -> JournalEntry:
    return JournalEntry(at_ms=START_MS + round(day * DAY), kind=kind, unit="u1", body=body)


@pytest.fixture
def site() -> Site:
    return site_of(MONTHLY)


def test_the_collectors_record_outlives_a_restart_and_is_made_anew_when_it_cannot_be_read(
    tmp_path: Path, site: Site
) -> None:
    now_ms = START_MS + 31 * DAY + HOUR
    with open_store(tmp_path, "lake", durable=False) as store:
        followed = Followed(site, store)
        for news in ([_entry(0, entries.TASK_DONE, task="filter", outcome="done")], None):
            with store.transaction():
                followed.write(followed.dues.news(now_ms) if news is None else news, now_ms)
        assert [alarm.condition for alarm in followed.board.speaking()] == ["service-due"]
        again = Followed(site, store)
        assert (again.dues.judged_ms, again.dues.record) == (followed.dues.judged_ms, followed.dues.record)
        assert again.dues.news(now_ms + MINUTE) == []
        with store.transaction():
            store.set_status(STATUS, {**followed.dues.document(), "record": "?"})
        anew = load_dues(site, store, followed.seq)
        assert anew.record == followed.dues.record
        assert anew.news(now_ms + MINUTE) == []  # what was told stands in the journal


def test_a_record_made_for_other_tasks_is_made_anew_and_readers_need_a_days_rows_only(tmp_path: Path) -> None:
    proven = _entry(0, entries.PURITY_PROOF, result="pass")
    with open_store(tmp_path, "lake", durable=False) as store:
        followed = Followed(site_of(MONTHLY), store)
        with store.transaction():
            followed.write([proven, *followed.dues.news(START_MS + HOUR)], 0)
        assert record_now(store.conn, site_of(MONTHLY)) == followed.dues.record
        assert record_now(store.conn, site_of(CHECK)).units["u1"].done.keys() == {"purity-check"}
        assert Followed(site_of(CHECK), store).dues.record.units["u1"].done.keys() == {"purity-check"}
        with store.transaction():
            store.append_journal([_entry(1, entries.TASK_DONE, task="filter", outcome="done")], 0)
        assert record_now(store.conn, site_of(MONTHLY)).units["u1"].done_ms("filter") == START_MS + DAY


def test_rows_are_folded_once(site: Site) -> None:
    journal, dues = Journal().done(0, outcome=entries.PUT_OFF), Dues(site)
    rows: list[JournalRow] = journal.rows * 3
    dues.fold(rows)
    assert dues.record.units["u1"].missed == {"filter": {"put-off": 1}}
