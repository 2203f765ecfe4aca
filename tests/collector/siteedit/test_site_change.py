"""A running collector changes its site file: real broker, real store, real file; nothing that is known is lost."""

import pytest

from collector.reading import Reading
from collector.rules.entries import OUT_OF_SERVICE, SITE_CHANGE, SITE_CHANGED, JournalEntry
from collector.site import parse_site
from collector.siteedit.site_file import KEPT
from collector.store import StoreError
from collector.store.history import alarm_rows, journal_rows, open_reader, status, unit_rows
from collector.store.journal import JournalWriter, verify
from tests.collector.test_live import GOOD, NOW_MS, SITE, bench, quick, run_of  # noqa: F401 - fixtures

MOVE = {"do": "move", "unit": "u1", "from": "w1", "to": "w2", "why": "needed there"}
ADD = {"do": "add", "table": "unit", "fields": {"id": "u3", "model": "m", "ward": "w2"}, "why": "new"}


@pytest.fixture
def site_file(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text("# by hand\n" + SITE)
    return path


@pytest.fixture
def house(bench, site_file):  # noqa: F811 - the fixture
    def start(**options):
        text = site_file.read_text()
        return bench.collector(site=text, site_text=text, site_path=str(site_file), **options)

    def ask(collector, body, wait=True):
        entry = JournalEntry(at_ms=bench.clock.now_ms(), kind=SITE_CHANGE, who="Amie", role="engineer",
                             origin="dashboard", unit=body.get("unit", ""), body=body)  # fmt: skip
        (row,) = JournalWriter(bench.data).append([entry])
        if wait:
            bench.until(collector, lambda: answer(bench, row.seq), "the answer")
        return row

    bench.start, bench.ask = start, ask
    return bench


def answer(house, seq):
    conn = open_reader(house.data)
    found = [row for row in journal_rows(conn, kinds=[SITE_CHANGED]) if row.body["change"] == seq]
    conn.close()
    assert len(found) < 2, "answered once"
    return found[0].body if found else None


def stored(house, read, *more):
    conn = open_reader(house.data)
    try:
        return read(conn, *more)
    finally:
        conn.close()


def told(house, ward):
    return [alert["condition"] for alert in house.signal(ward).get("alerts", ())]


def test_a_unit_moves_with_its_alarm_its_hours_and_its_memory(house, site_file, quick):  # noqa: F811
    collector = house.start()
    house.feed(collector, GOOD, *run_of("u1", 80.0, 40))
    before = {row.unit: row for row in stored(house, unit_rows)}["u1"]
    house.until(collector, lambda: "purity-red" in told(house, "w1"), "the alarm in its first ward")
    row = house.ask(collector, MOVE)
    assert answer(house, row.seq)["result"] == "made"
    assert 'id = "u1"\nmodel = "m"\nward = "w2"' in site_file.read_text()
    assert site_file.read_text().startswith("# by hand\n")
    (kept,) = site_file.parent.glob("site.toml.*.bak")
    assert kept.read_text() == "# by hand\n" + SITE
    house.until(collector, lambda: told(house, "w2") and not told(house, "w1"), "both signals")
    assert {alarm.ward for alarm in stored(house, alarm_rows) if alarm.unit == "u1"} == {"w2"}
    after = {row.unit: row for row in stored(house, unit_rows)}["u1"]
    assert (after.observed_h, after.phase_since_ms, after.state) == (
        before.observed_h,
        before.phase_since_ms,
        before.state,
    )
    house.feed(collector, *run_of("u1", 80.0, 3, NOW_MS + 400_000))
    raised = [r for r in stored(house, journal_rows) if r.condition == "purity-red" and r.body.get("event") == "raised"]
    assert len(raised) == 1, "it goes on, and is not raised anew"
    assert parse_site(stored(house, status, "site")["text"]).ward_of("u1").id == "w2"
    assert stored(house, verify).ok


def test_a_unit_is_added_heard_and_then_not_taken_away(house, quick):  # noqa: F811
    collector = house.start()
    row = house.ask(collector, ADD)
    assert answer(house, row.seq)["result"] == "made"
    house.feed(collector, Reading("u3", NOW_MS, 93.0, 2.0, 300.0))
    assert "u3" in [one.unit for one in stored(house, unit_rows)]
    said = answer(house, house.ask(collector, {"do": "remove", "unit": "u3", "why": ""}).seq)
    assert (said["result"], "has been heard" in said["said"]) == ("refused", True)


def test_a_unit_that_was_never_heard_is_taken_away(house, site_file):
    collector = house.start()
    text = site_file.read_text()
    house.ask(collector, ADD)
    assert answer(house, house.ask(collector, {"do": "remove", "unit": "u3", "why": ""}).seq)["result"] == "made"
    assert site_file.read_text() == text


def test_a_new_ward_is_told_its_signal(house):
    collector = house.start()
    house.ask(collector, {"do": "add", "table": "ward", "fields": {"id": "w3", "name": "Three"}, "why": ""})
    house.until(collector, lambda: house.signal("w3").get("ward") == "w3", "the new ward's signal")


def test_a_file_that_was_changed_by_hand_is_left_alone(house, site_file):
    collector = house.start()
    site_file.write_text(site_file.read_text() + "# a word of mine\n")
    said = answer(house, house.ask(collector, MOVE).seq)
    assert (said["result"], "changed by hand" in said["said"]) == ("refused", True)
    assert site_file.read_text().endswith("# a word of mine\n")
    assert collector.site.ward_of("u1").id == "w1"


def test_a_file_that_may_not_be_written_is_said(house, site_file, monkeypatch):
    collector = house.start()

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("collector.siteedit.site_file._write", refuse)  # root, as in CI, may write anything
    said = answer(house, house.ask(collector, MOVE).seq)
    assert "may not write the site file" in said["said"]
    assert "INSTALL.md" in said["said"]
    assert list(site_file.parent.glob("*.new")) == []


def test_a_collector_without_a_file_says_so(house, bench):  # noqa: F811
    collector = bench.collector()
    assert "without a site file" in answer(house, house.ask(collector, MOVE).seq)["said"]


def test_what_was_asked_while_no_collector_ran_is_made_when_one_does(house, site_file):
    first = house.start()
    first.close()
    first.store.close()
    row = house.ask(None, MOVE, wait=False)
    second = house.start()
    house.until(second, lambda: answer(house, row.seq), "the answer")
    assert second.site.ward_of("u1").id == "w2"


def test_a_collector_that_dies_between_file_and_record_makes_it_once(house, site_file, monkeypatch, quick):  # noqa: F811
    collector = house.start()
    real = collector.store.set_status

    def fail(name, body):
        if name == "site":
            monkeypatch.setattr(collector.store, "set_status", real)
            raise StoreError("full", "the disk is full")
        real(name, body)

    monkeypatch.setattr(collector.store, "set_status", fail)
    row = house.ask(collector, MOVE, wait=False)
    house.until(collector, lambda: answer(house, row.seq), "the answer after all")
    assert answer(house, row.seq)["result"] == "made"
    assert collector.site.ward_of("u1").id == "w2"
    assert site_file.read_text().count('ward = "w2"') == 2
    assert parse_site(stored(house, status, "site")["text"]).ward_of("u1").id == "w2"


def test_two_asked_at_once_are_made_in_order_and_old_texts_are_bounded(house, site_file):
    collector = house.start()
    for n in range(KEPT + 3):
        (site_file.parent / f"site.toml.2020010{n:02}T000000Z.bak").write_text("old")
    house.ask(collector, MOVE, wait=False)
    back = {"do": "move", "unit": "u1", "from": "w2", "to": "w1", "why": "", "undoes": 1}
    row = house.ask(collector, back)
    assert answer(house, row.seq)["result"] == "made"
    assert site_file.read_text() == "# by hand\n" + SITE
    assert len(list(site_file.parent.glob("*.bak"))) == KEPT


def test_a_unit_out_of_service_stays_out_when_it_moves(house):
    collector = house.start()
    JournalWriter(house.data).append(
        [
            JournalEntry(
                at_ms=NOW_MS, kind=OUT_OF_SERVICE, unit="u1", ward="w1", body={"reason": "loud", "for": "repair"}
            )
        ]
    )
    house.ask(collector, MOVE)
    assert stored(house, status, "out_of_service") == {"units": ["u1"]}
    assert "u1" in collector.followed.board.removed_units
