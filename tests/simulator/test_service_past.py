"""What the demo's people wrote down before the story: complete, plausible, by the rules that people are held to."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from collector.rules import entries
from collector.rules.catalogue import CAUSES
from collector.rules.entries import JournalEntry, JournalRow
from collector.service.due import due_tasks
from collector.service.gate import may_return, standings
from collector.service.stock import stock_of, unknown_parts
from collector.service.work import open_orders, work_orders
from collector.site import Site, load_site
from collector.store import JournalWriter, open_store
from collector.store.history import open_reader
from collector.store.journal import verify
from simulator import HOSPITAL
from simulator.service_past import DAY_MS, HOUR_MS, ORIGIN, service_past
from tests.simulator.fleets import site as bare_site

STORY_MS = round(datetime(2026, 10, 14, 19, 0, tzinfo=UTC).timestamp() * 1000)


@pytest.fixture(scope="module")
def site() -> Site:
    return load_site(HOSPITAL)


@pytest.fixture(scope="module")
def past(site: Site) -> list[JournalEntry]:
    return service_past(site, STORY_MS, 1)


def rows_of(past: list[JournalEntry]) -> list[JournalRow]:
    return [JournalRow(**msgspec.structs.asdict(entry), seq=seq, recorded_ms=STORY_MS) for seq, entry in
            enumerate(past, 1)]  # fmt: skip


def test_every_entry_is_marked_and_lies_before_the_story(past: list[JournalEntry], site: Site) -> None:
    names = {person.name for person in site.people}
    assert all(entry.origin == ORIGIN and entry.at_ms < STORY_MS for entry in past)
    assert all(entry.who in names for entry in past if entry.kind != entries.SERVICE_HOURS)
    assert [entry.at_ms for entry in past] == sorted(entry.at_ms for entry in past)


def test_each_page_of_service_has_something_to_show(past: list[JournalEntry]) -> None:
    kinds = Counter(entry.kind for entry in past)
    assert kinds.keys() >= {entries.TASK_DONE, entries.PURITY_PROOF, entries.CYLINDER_READ, entries.PART_MOVED,
                            entries.WORK_OPENED, entries.WORK_CLOSED}  # fmt: skip
    outcomes = Counter(entry.body["outcome"] for entry in past if entry.kind == entries.TASK_DONE)
    assert 0 < outcomes[entries.COULD_NOT_LOCATE] < outcomes[entries.DONE] / 10


def test_engineers_make_their_rounds_on_working_days(past: list[JournalEntry]) -> None:
    rounds = [entry for entry in past if entry.role == "engineer" and entry.kind == entries.TASK_DONE]
    weekend = [entry for entry in rounds if datetime.fromtimestamp(entry.at_ms / 1000, UTC).weekday() > 4]
    assert len(weekend) < 0.05 * len(rounds), "but for those that look again for a unit that was not found"


def test_tasks_and_parts_are_the_site_s(past: list[JournalEntry], site: Site) -> None:
    for entry in past:
        if entry.kind == entries.TASK_DONE:
            assert entry.body["task"] in [task.id for task in site.model_of(entry.unit).task]
    assert unknown_parts(site, rows_of(past)) == []


@pytest.mark.parametrize(("seed", "later_days"), [(1, 0), (2, 0), (3, 200), (4, 800)])
def test_no_part_was_used_that_was_not_there(site: Site, seed: int, later_days: int) -> None:
    rows = rows_of(service_past(site, STORY_MS + later_days * DAY_MS, seed))
    stocks = stock_of(site, rows)
    assert min(stock.have for stock in stocks.values()) >= 0
    assert sum(stock.used for stock in stocks.values()) > 20


@pytest.mark.parametrize("hour", range(0, 24, 5))
def test_every_unit_that_was_opened_up_was_checked_afterwards(site: Site, hour: int) -> None:
    rows = rows_of(service_past(site, STORY_MS + hour * HOUR_MS, 1))
    doubtful = {unit for unit, standing in standings(site, rows).items() if standing.need is not None}
    assert doubtful <= {order.unit for order in open_orders(work_orders(rows))}
    assert all(standing.out_ms is None for standing in standings(site, rows).values())
    assert may_return(standings(site, rows)["wren"], STORY_MS).proof is not None


def test_repairs_name_known_causes_and_one_order_is_open(past: list[JournalEntry]) -> None:
    orders = work_orders(rows_of(past)).values()
    closed = [order for order in orders if not order.is_open]
    assert len(closed) >= 3
    assert all(order.cause in CAUSES and order.proofs and order.last_proof for order in closed)
    assert len(list(orders)) == len(closed) + 1


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_little_is_overdue_as_in_a_hospital_that_keeps_up(site: Site, seed: int) -> None:
    dues = due_tasks(site, rows_of(service_past(site, STORY_MS, seed)), {}, STORY_MS)
    late = [due for due in dues if due.overdue and due.why == "calendar"]
    assert 0 < len(late) <= 24
    assert all(due.due_ms.p50 > STORY_MS - 100 * DAY_MS for due in late)
    assert any(due.put_off for due in dues)


def test_the_overdue_analyser_was_not_used(past: list[JournalEntry]) -> None:
    used = {entry.body["analyser"] for entry in past if entry.kind == entries.PURITY_PROOF}
    late = [entry for entry in past if entry.kind == entries.PURITY_PROOF and entry.at_ms > STORY_MS - 90 * DAY_MS]
    assert {entry.body["analyser"] for entry in late} == {"analyser-workshop"} <= used


def test_every_cylinder_was_read_and_one_reading_is_old(past: list[JournalEntry], site: Site) -> None:
    last = {entry.body["cylinder"]: entry.at_ms for entry in past if entry.kind == entries.CYLINDER_READ}
    assert last.keys() == {cylinder.id for cylinder in site.cylinders}
    assert [cylinder for cylinder, at_ms in last.items() if at_ms < STORY_MS - DAY_MS] == ["children-1"]


def test_the_same_seed_writes_the_same(site: Site, past: list[JournalEntry]) -> None:
    assert service_past(site, STORY_MS, 1) == past != service_past(site, STORY_MS, 2)


def test_run_hours_end_where_readings_begin_and_stand_still_in_repairs(site: Site) -> None:
    heard_ms = STORY_MS - 3 * DAY_MS
    past = service_past(site, STORY_MS, 1, heard_ms)
    hours = [entry for entry in past if entry.kind == entries.SERVICE_HOURS]
    assert max(entry.at_ms for entry in hours) <= heard_ms
    per_day = {unit.id: 0.0 for unit in site.units}
    for unit in per_day:
        counts = [entry.body["observed_h"] for entry in hours if entry.unit == unit]
        assert counts == sorted(counts)
        per_day[unit] = (counts[-1] - counts[0]) / (len(counts) - 1)
    out = {entry.unit for entry in past if entry.kind == entries.OUT_OF_SERVICE}
    assert all(22.0 < hours_a_day <= 24.0 for hours_a_day in per_day.values())
    assert min(per_day, key=lambda unit: per_day[unit]) in out


def test_a_site_without_people_parts_or_analysers_has_a_past_too() -> None:
    assert isinstance(service_past(bare_site(), STORY_MS, 1), list)


@pytest.fixture
def written(tmp_path: Path, site: Site, past: list[JournalEntry]) -> Iterator[Path]:
    with open_store(tmp_path, site.facility.id):
        JournalWriter(tmp_path).append(past)
        yield tmp_path


def test_it_is_written_through_the_journal_s_writer(written: Path, past: list[JournalEntry]) -> None:
    conn = open_reader(written)
    try:
        found = verify(conn)
    finally:
        conn.close()
    assert found.ok
    assert found.rows == len(past)
