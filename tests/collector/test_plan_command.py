"""`sieveward plan` on a real store: the table, for a program, as CSV, as a calendar, and as lists to hang up."""

import csv
import json
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest
from icalendar import Calendar
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.rules.limits import DAY
from collector.store import open_store

NOW = int(datetime(2026, 11, 29, 12, tzinfo=UTC).timestamp() * 1000)  # a Sunday
SITE_TEXT = """
[facility]
id = "sim-lakeside"
timezone = "Africa/Nairobi"
[[ward]]
id = "east"
name = "East & <West>"
quiet_hours = "21:00-09:00"
[[model]]
id = "five"
[[model.task]]
id = "check"
name = "Check; purity, flow"
every_days = 30
minutes = 30
[[unit]]
id = "u1"
ward = "east"
model = "five"
[[unit]]
id = "u2"
ward = "east"
model = "five"
"""


@pytest.fixture
def data(tmp_path: Path) -> Path:
    done = [
        JournalEntry(
            at_ms=NOW - days * DAY, kind=entries.TASK_DONE, unit=unit, body={"task": "check", "outcome": "done"}
        )
        for unit, days in (("u1", 28), ("u2", 26))
    ]
    body = {
        "visit": "v1",
        "day": "2026-12-03",
        "tasks": [{"unit": "u2", "task": "check"}],
        "state": "locked",
        "why": "",
    }
    with open_store(tmp_path, "sim-lakeside", durable=False) as store, store.transaction():
        store.set_status("site", {"path": "site.toml", "text": SITE_TEXT})
        store.set_status("clock", {"wall_ms": 0, "at_ms": NOW, "speed": 0.0})
        store.append_journal([*done, JournalEntry(at_ms=NOW, kind=entries.VISIT, body=body)], NOW)
    return tmp_path


def run(data: Path, *words: str) -> str:
    words = ("plan", "--data", str(data), "--weeks", "2", "--seconds", "5", *words)
    result = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_visits_for_a_program(data: Path) -> None:
    told = json.loads(run(data, "--json"))
    visits = [(one["unit"], one["day"], one["start_min"], one["state"]) for one in told["visits"]]
    assert visits == [("u1", "2026-12-01", 540, "planned"), ("u2", "2026-12-03", 540, "locked")]
    assert (told["first"], told["optimal"], told["deferred"]) == ("2026-11-30", True, [])


def test_the_table_names_day_time_and_work(data: Path) -> None:
    told = run(data)
    assert "2026-12-01" in told
    assert "09:00" in told
    assert "2 visits on 2 ward trips, 0 due dates missed" in told


def test_a_calendar_program_reads_the_visits_in_utc(data: Path, tmp_path: Path) -> None:
    run(data, "--ics", str(tmp_path / "v.ics"))
    events = Calendar.from_ical((tmp_path / "v.ics").read_bytes()).walk("VEVENT")
    starts = [event.decoded("dtstart") for event in events]
    assert starts == [datetime(2026, 12, 1, 6, tzinfo=UTC), datetime(2026, 12, 3, 6, tzinfo=UTC)]
    assert [str(event["uid"]) for event in events] == ["u1-2026-12-01@sim-lakeside", "v1@sim-lakeside"]
    assert events[0].decoded("dtend") - starts[0] == timedelta(minutes=40)
    assert str(events[0]["summary"]) == "u1, East & <West>: Check; purity, flow"
    assert [str(event["status"]) for event in events] == ["TENTATIVE", "CONFIRMED"]


def test_csv_has_a_line_for_each_task(data: Path, tmp_path: Path) -> None:
    run(data, "--csv", str(tmp_path / "v.csv"))
    with (tmp_path / "v.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert [(line["day"], line["start"], line["unit"], line["due"], line["state"]) for line in lines] == [
        ("2026-12-01", "09:00", "u1", "2026-12-01", "planned"), ("2026-12-03", "09:00", "u2", "2026-12-03", "locked")
    ]  # fmt: skip


def test_week_lists_are_one_sheet_a_ward_and_week_and_escape_what_people_wrote(data: Path, tmp_path: Path) -> None:
    run(data, "--print", str(tmp_path / "v.html"))
    text = (tmp_path / "v.html").read_text(encoding="utf-8")
    seen = Headings()
    seen.feed(text)
    assert seen.found == ["East & <West>: week of 2026-11-30"]
    assert "SIMULATED" in text
    assert "http" not in text


class Headings(HTMLParser):
    """The headings of a page, as people read them."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._inside = False

    def handle_starttag(self, tag, attrs):
        self._inside = tag == "h1"
        self.found += [""] if self._inside else []

    def handle_endtag(self, tag):
        self._inside = self._inside and tag != "h1"

    def handle_data(self, data):
        if self._inside:
            self.found[-1] += data


def test_another_first_day_moves_the_plan(data: Path) -> None:
    told = json.loads(run(data, "--json", "--from", "2026-12-02"))
    assert (told["first"], told["visits"][0]["day"]) == ("2026-12-02", date(2026, 12, 2).isoformat())
    with pytest.raises(Refused, match="'soon' is no day"):
        run(data, "--from", "soon")


def test_a_place_that_cannot_be_written_is_named(data: Path, tmp_path: Path) -> None:
    with pytest.raises(Refused, match="nowhere"):
        run(data, "--ics", str(tmp_path / "nowhere" / "v.ics"))
