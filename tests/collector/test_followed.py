"""Rules and alarms in step with the store, when the site file changes between two starts."""

from pathlib import Path
from typing import Any

import pytest

from collector.followed import Followed
from collector.reading import Reading
from collector.rules.capacity.now import CapacityPoint
from collector.rules.engine import RulesEngine
from collector.rules.entries import PURITY_PROOF, JournalEntry, entry_of
from collector.site import parse_site
from collector.store import history, open_store
from tests.scenario_files import FOLDER, START_MS

TEXT = (FOLDER / "site.toml").read_text(encoding="utf-8")


def with_m1_red(data: Path) -> None:
    """A store in which m1 stands red."""
    site = parse_site(TEXT)
    with open_store(data, site.facility.id) as store:
        followed = Followed(site, store)
        readings = [Reading("m1", START_MS + i * 10_000, 86.0 if not i else 80.0, 4.0, 340.0) for i in range(10)]
        events = [event for r in readings for event in followed.engine.read(r, r.time_ms)]
        with store.transaction():
            store.add_readings(readings)
            followed.save_units()
            followed.write([entry_of(event) for event in events], START_MS)


def test_a_unit_takes_its_alarms_along_to_another_ward(tmp_path: Path) -> None:
    with_m1_red(tmp_path)
    moved = TEXT.replace('id = "m1"\nmodel = "five"\nward = "medical"', 'id = "m1"\nmodel = "five"\nward = "newborn"')
    site = parse_site(moved)
    with open_store(tmp_path, site.facility.id) as store:
        board = Followed(site, store).board
    assert [a.condition for a in board.speaking("newborn")] == ["purity-red", "purity-amber"]
    assert board.speaking("medical") == []


def test_the_alarms_of_a_unit_that_is_gone_from_the_site_file_are_cleared_and_written_down(tmp_path: Path) -> None:
    with_m1_red(tmp_path)
    site = parse_site(TEXT.replace('id = "m1"', 'id = "other"'))
    with open_store(tmp_path, site.facility.id) as store:
        followed = Followed(site, store)
        with store.transaction():
            rows = followed.write(followed.orphans(START_MS + 600_000), 0)
        assert followed.board.speaking() == []
        assert {(row.unit, row.condition, row.body["event"]) for row in rows} == {
            ("m1", "purity-red", "cleared"),
            ("m1", "purity-amber", "cleared"),
        }
        assert followed.orphans(START_MS) == []


def test_the_alarm_of_a_ward_that_its_silent_units_have_left_is_cleared(tmp_path: Path) -> None:
    site = parse_site(TEXT)
    with open_store(tmp_path, site.facility.id) as store:
        followed = Followed(site, store)
        for unit in ("m1", "m2", "m3"):
            followed.engine.read(Reading(unit, START_MS, 93.0, 4.0, 340.0), START_MS)
        with store.transaction():
            events = followed.engine.tick(START_MS + 180_000)
            followed.save_units()
            followed.write([entry_of(event) for event in events], START_MS)
        assert [(a.unit, a.ward, a.condition) for a in followed.board.speaking()] == [
            ("", "medical", "readings-absent")
        ]
        assert followed.orphans(START_MS) == []
    moved = parse_site(TEXT.replace('model = "five"\nward = "medical"', 'model = "five"\nward = "newborn"'))
    with open_store(tmp_path, site.facility.id) as store:
        followed = Followed(moved, store)
        (entry,) = followed.orphans(START_MS + 200_000)
        assert (entry.ward, entry.condition, entry.body["event"]) == ("medical", "readings-absent", "cleared")
        told = [e for e in followed.engine.tick(START_MS + 200_000) if e.unit != "n1"]
    assert [(e.event, e.unit, e.ward, e.evidence["units_lost"]) for e in told] == [("raised", "", "newborn", 3)]


def test_capacity_goes_into_the_store_with_the_rows_and_comes_back_from_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = parse_site(TEXT)
    hour_ms = START_MS // 3_600_000 * 3_600_000
    point = CapacityPoint(unit="m1", hour_ms=hour_ms, p05_lpm=3.0, p50_lpm=4.0, p95_lpm=5.0, seen=True)
    restored: list[tuple[str, bytes]] = []
    monkeypatch.setattr(RulesEngine, "take_capacity_points", lambda _: [point])
    monkeypatch.setattr(RulesEngine, "estimates", lambda _, units: ((unit, b"kept") for unit in units))
    monkeypatch.setattr(RulesEngine, "restore", lambda _, rows, estimates=(): restored.extend(estimates))
    with open_store(tmp_path, site.facility.id) as store:
        followed = Followed(site, store)
        followed.engine.estimates_touched.add("m1")
        with store.transaction():
            followed.save_units()
        assert history.capacity_points(store.conn, "m1", hour_ms, START_MS) == [point]
        assert restored == []
        followed.load()
        assert restored == [("m1", b"kept")]


def falling_readings(hours: float) -> list[Reading]:
    """A unit at 4 L/min whose purity falls, ever faster, from its plateau."""
    steps = int(hours * 360)
    return [
        Reading("m1", START_MS + i * 10_000, round(94.0 - 8.0 * (i / steps) ** 3 + 0.2 * (i % 3 - 1), 1), 4.0, 340.0,
                volts=230.0)
        for i in range(steps)
    ]  # fmt: skip


def followed_over(data: Path, batches: list[list[Reading]], *, reopen: bool) -> tuple[Any, ...]:
    """Rows, estimates, points and events once all is taken in, with the store closed between batches or not."""
    site = parse_site(TEXT)
    events = []
    store = open_store(data, site.facility.id, durable=False)
    followed = Followed(site, store)
    for batch in batches:
        if reopen:
            store.close()
            store = open_store(data, site.facility.id, durable=False)
            followed = Followed(site, store)
        for r in batch:
            events += followed.engine.read(r, r.time_ms)
        with store.transaction():
            store.add_readings(batch)
            followed.save_units()
        followed.engine.clear_touched()
    points = history.capacity_points(store.conn, "m1", 0, 2**50, 10**9)
    found = store.load_units(), store.load_estimates(), points, events
    store.close()
    return found


def test_capacity_goes_on_over_a_restart_as_if_there_had_been_none(tmp_path: Path) -> None:
    readings = falling_readings(6)
    batches = [readings[at : at + 97] for at in range(0, len(readings), 97)]
    whole = followed_over(tmp_path / "whole", batches, reopen=False)
    assert followed_over(tmp_path / "often", batches, reopen=True) == whole
    (row,), _, points, _ = whole
    assert row.capacity is not None
    assert len(points) == 6


def test_a_check_by_hand_is_in_the_store_as_soon_as_it_is_folded(tmp_path: Path) -> None:
    site = parse_site(TEXT)
    body = {"as_left_pct": 93.0, "uncertainty_pct": 1.0, "flow_lpm": 5.0, "result": "pass"}
    with open_store(tmp_path, site.facility.id) as store:
        followed = Followed(site, store)
        followed.engine.read(Reading("m1", START_MS, 94.0, 1.0, 340.0), START_MS)
        with store.transaction():
            followed.save_units()
            store.append_journal([JournalEntry(at_ms=START_MS + 5000, kind=PURITY_PROOF, unit="m1", body=body)], 0)
        followed.engine.clear_touched()
        with store.transaction():
            followed.write([], 0)
        followed.load()  # as after a restart: the row in the journal is not folded again
        (row,) = followed.engine.rows(["m1"])
    assert (row.proven_lpm, row.proven_ms) == (5.0, START_MS + 5000)
