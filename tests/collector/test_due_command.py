"""`sieveward due` on a real store: what it lists, as a table, for a program and as a file."""

import csv
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.rules.limits import DAY
from collector.store import open_store

NOW = 20_400 * DAY
SITE_TEXT = """
[facility]
id = "sim-lakeside"
timezone = "Africa/Nairobi"
[[ward]]
id = "east"
[[model]]
id = "five"
[[model.task]]
id = "wash"
every_days = 7
[[model.task]]
id = "filter"
name = "Replace the intake filter"
every_h = 1000
parts = ["felt"]
[[unit]]
id = "u1"
ward = "east"
model = "five"
[[unit]]
id = "u2"
"""


@pytest.fixture
def data(tmp_path: Path) -> Path:
    hours = [JournalEntry(at_ms=NOW - (30 - day) * DAY, kind=entries.SERVICE_HOURS, unit="u1", ward="east",
                          body={"observed_h": day * 20.0}) for day in range(31)]  # fmt: skip
    done = [
        JournalEntry(at_ms=NOW - 30 * DAY, kind=entries.TASK_DONE, unit="u1", body={"task": task, "outcome": "done"})
        for task in ("wash", "filter")
    ]
    lost = JournalEntry(at_ms=NOW - DAY, kind=entries.TASK_DONE, unit="u1",
                        body={"task": "wash", "outcome": entries.COULD_NOT_LOCATE})  # fmt: skip
    with open_store(tmp_path, "sim-lakeside", durable=False) as store, store.transaction():
        store.set_status("site", {"path": "site.toml", "text": SITE_TEXT})
        store.set_status("clock", {"wall_ms": 0, "at_ms": NOW, "speed": 0.0})
        store.append_journal([*hours, *done, lost], NOW)
    return tmp_path


def run(*words: str) -> str:
    result = CliRunner().invoke(app, ["due", *words], catch_exceptions=False)
    assert result.exit_code == 0
    return result.stdout


def test_what_is_overdue_comes_first_and_says_what_was_tried(data: Path) -> None:
    told = json.loads(run("--data", str(data), "--unit", "u1", "--json"))
    wash, filters = told["due"]
    assert (wash["task"], wash["overdue"], wash["could_not_locate"], wash["why"]) == ("wash", True, 1, "calendar")
    assert (filters["task"], filters["overdue"], filters["why"], filters["run_h"]) == ("filter", False, "hours", 600)
    assert filters["due_earliest"] < filters["due"] < filters["due_latest"]
    assert filters["mark"] == ""


def test_the_table_speaks_in_days_of_the_facility(data: Path) -> None:
    told = run("--data", str(data), "--ward", "east")
    assert "23 d over" in told
    assert "1 × not found" in told
    assert "2 tasks on 1 units, 1 overdue" in told


def test_a_unit_without_a_model_is_listed_with_the_defaults_marks(data: Path) -> None:
    told = json.loads(run("--data", str(data), "--unit", "u2", "--days", "400", "--json"))
    assert {one["task"] for one in told["due"]} >= {"purity-check", "electrical-test"}
    assert all(one["mark"] for one in told["due"])


def test_nothing_due_says_so(data: Path, tmp_path: Path) -> None:
    (tmp_path / "none.toml").write_text('[facility]\nid = "sim-lakeside"\n', encoding="utf-8")
    assert run("--data", str(data), "--site", str(tmp_path / "none.toml")) == "nothing is due within 30 days\n"


def test_the_list_as_a_file(data: Path, tmp_path: Path) -> None:
    run("--data", str(data), "--unit", "u1", "--out", str(tmp_path / "due.csv"))
    rows = list(csv.DictReader((tmp_path / "due.csv").read_text(encoding="utf-8").splitlines()))
    assert [(row["task"], row["overdue"], row["parts"]) for row in rows] == [
        ("wash", "yes", ""),
        ("filter", "no", "felt"),
    ]


@pytest.mark.parametrize("words", [("--ward", "west"), ("--unit", "u9"), ("--data", "nowhere")])
def test_what_is_not_there_is_named(data: Path, words: tuple[str, str]) -> None:
    with pytest.raises(Refused, match=r"west|u9|nowhere"):
        run("--data", str(data), *words)
