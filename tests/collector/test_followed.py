"""Rules and alarms in step with the store, when the site file changes between two starts."""

from pathlib import Path

from collector.followed import Followed
from collector.reading import Reading
from collector.rules.entries import entry_of
from collector.site import parse_site
from collector.store import open_store
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
