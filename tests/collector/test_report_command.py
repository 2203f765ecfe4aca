"""`sieveward report` on a real store."""

import csv
import json

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.report import FILES
from collector.clock import ScaledClock
from collector.reading import Reading, parse_utc
from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.store import open_store
from tests.collector.service.months import SITE
from tests.collector.store.samples import put, upkeep

START = parse_utc("2026-10-01T00:00:00Z")
HOUR = 3_600_000


def store(tmp_path, hours=6, now="2026-11-02T00:00:00Z"):
    """Unit a runs for some hours from the first of October, with a reading a minute."""
    with open_store(tmp_path / "data", "lakeside", durable=False) as made:
        readings = [Reading("a", at, purity_pct=93.0, flow_lpm=2.0, power_w=300.0)
                    for at in range(START, START + hours * HOUR, 60_000)]  # fmt: skip
        put(made, readings)
        upkeep(made, START + hours * HOUR)
        with made.transaction():
            made.set_status("site", {"path": "site.toml", "text": SITE})
            made.set_status("clock", ScaledClock(2**50, parse_utc(now), 1.0).setting())
            made.append_journal(
                [JournalEntry(at_ms=START + HOUR, kind=entries.OUT_OF_SERVICE, unit="a", ward="newborn", who="Ada"),
                 JournalEntry(at_ms=START + 2 * HOUR, kind=entries.RETURN_TO_SERVICE, unit="a", ward="newborn")], START
            )  # fmt: skip
    return tmp_path / "data"


def run(*argv):
    return CliRunner().invoke(app, ["report", *map(str, argv)])


def table(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_it_writes_a_pdf_and_the_csv_behind_it(tmp_path) -> None:
    out = tmp_path / "new" / "reports"
    result = run("--month", "2026-10", "--data", store(tmp_path), "--out", out)
    assert result.exit_code == 0, result.output
    assert (out / "report-2026-10.pdf").read_bytes().startswith(b"%PDF-")
    assert {path.name for path in out.glob("*.csv")} == {f"report-2026-10-{name}.csv" for name in FILES}
    figures = {row["key"]: row for row in table(out / "report-2026-10-figures.csv")}
    assert figures["energy_kwh"]["value"] == "1.8"
    (unit, *_) = table(out / "report-2026-10-units.csv")
    assert (unit["unit"], unit["down_h"], unit["running_h"]) == ("a", "1.0", "6.0")
    assert "not checked at rated flow" in result.output


def test_a_ward_has_files_of_its_own(tmp_path) -> None:
    out = tmp_path / "out"
    assert run("--month", "2026-10", "--ward", "newborn", "--data", store(tmp_path), "--out", out).exit_code == 0
    assert [row["unit"] for row in table(out / "report-2026-10-newborn-units.csv")] == ["a"]


def test_a_program_can_read_all_of_it(tmp_path) -> None:
    result = run("--month", "2026-10", "--data", store(tmp_path), "--out", tmp_path, "--json")
    said = json.loads(result.stdout)
    assert (said["month"], said["facility"], len(said["files"])) == ("2026-10", "Lakeside (invented)", 10)
    assert {figure["key"] for figure in said["figures"]} >= {"availability", "functional", "maintenance_on_time"}


def test_an_empty_store_and_a_month_before_the_record_have_a_report(tmp_path) -> None:
    data = store(tmp_path, hours=0)
    assert run("--month", "2026-10", "--data", data, "--out", tmp_path).exit_code == 0
    assert run("--month", "2025-01", "--data", data, "--out", tmp_path).exit_code == 0
    figures = table(tmp_path / "report-2025-01-figures.csv")
    assert {row["value"] for row in figures} == {""}


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["--month", "2026-13"], "write it as 2026-10"),
        (["--month", "2027-01"], "has not begun"),
        (["--month", "2026-10", "--ward", "attic"], "no ward 'attic'; it has newborn, medical"),
    ],
)
def test_wrong_usage_is_refused(tmp_path, argv, said) -> None:
    result = run(*argv, "--data", store(tmp_path), "--out", tmp_path)
    assert said in str(result.exception)


def test_a_missing_store_and_a_folder_that_cannot_be_made_are_said(tmp_path) -> None:
    assert "none" in str(run("--month", "2026-10", "--data", tmp_path / "none").exception)
    (tmp_path / "file").write_text("x", encoding="utf-8")
    result = run("--month", "2026-10", "--data", store(tmp_path), "--out", tmp_path / "file" / "deeper")
    assert "cannot be written" in str(result.exception)
