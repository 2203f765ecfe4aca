"""`sieveward replay` as a person runs it: from files or the store, plain or with changed limits side by side."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.reading import Reading, iso_utc
from collector.recording import open_writer
from collector.site import load_site
from collector.store import open_store
from tests.scenario_files import FOLDER, START_MS, load_scenario

SITE = FOLDER / "site.toml"
FACILITY = load_site(SITE).facility.id
READINGS = load_scenario("falls-and-shuts-off").readings
CHANGES = "[model.five]\namber_pct = 87\n[limits]\nred = { on_min = 2 }\n"


class Done:
    """What a command left: its exit status, stdout and stderr."""

    def __init__(self, *words: object) -> None:
        result = CliRunner().invoke(app, ["replay", *map(str, words)])
        self.status, self.out, self.err = result.exit_code, result.stdout, result.stderr
        if isinstance(result.exception, Refused):
            self.status, self.err = result.exception.status, self.err + str(result.exception)
        elif result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    return recorded(tmp_path / "night.csv", READINGS)


@pytest.fixture
def changes(tmp_path: Path) -> Path:
    path = tmp_path / "changes.toml"
    path.write_text(CHANGES, encoding="utf-8")
    return path


@pytest.fixture
def data(tmp_path: Path) -> Path:
    with open_store(tmp_path / "data", FACILITY) as store, store.transaction():
        store.add_readings(READINGS)
    return tmp_path / "data"


def recorded(path: Path, readings: list[Reading]) -> Path:
    with open_writer(path) as writer:
        for reading in readings:
            writer.write(reading)
    return path


def test_both_runs_stand_side_by_side_for_people(recording: Path, changes: Path) -> None:
    done = Done(recording, "--site", SITE, "--changes", changes)
    lines = done.out.splitlines()
    assert (done.status, done.err) == (0, "")
    assert lines[1:4] == ["  model five amber_pct: 85 -> 87", "  limits red.on: 30 s -> 2 min", ""]
    rows = {line.split()[0]: line.split() for line in lines if line.strip()}
    assert rows["purity-red"][:9] == ["purity-red", "1", "->", "1", "0", "0", "1", "(90", "s)"]
    assert "90 s later" in done.out
    assert max(map(len, lines)) <= 120


def test_both_runs_as_one_json_object_and_each_difference_a_line(
    recording: Path, changes: Path, tmp_path: Path
) -> None:
    out = tmp_path / "differences.jsonl"
    done = Done(recording, "--site", SITE, "--changes", changes, "--json", "--out", out)
    result = json.loads(done.out)
    assert result["window_min"] == 60
    assert result["changes"][0] == {"of": "model five", "key": "amber_pct", "before": 85.0, "after": 87.0}
    rows = {row["condition"]: row for row in result["conditions"]}
    assert (rows["purity-amber"]["earlier"], rows["purity-red"]["later"]) == (1, 1)
    lines = [json.loads(line) for line in out.read_text().splitlines()]
    assert len(lines) == len(result["differences"])
    assert {line["kind"] for line in lines if line["condition"] == "purity-red"} == {"later"}


def test_the_store_says_what_a_recording_of_it_says(recording: Path, changes: Path, data: Path) -> None:
    words = ("--site", SITE, "--changes", changes, "--json")
    assert json.loads(Done("--data", data, *words).out) == json.loads(Done(recording, *words).out)
    assert Done("--data", data, "--site", SITE).out == Done(recording, "--site", SITE).out


def test_from_and_to_hold_for_files_and_for_the_store(recording: Path, data: Path) -> None:
    span = ("--from", iso_utc(START_MS + 600_000), "--to", iso_utc(START_MS + 1_200_000), "--site", SITE)
    for past in ((recording,), ("--data", data)):
        err = Done(*past, *span).err
        assert err.startswith(f"{sum(600_000 <= r.time_ms - START_MS < 1_200_000 for r in READINGS)} readings")


def test_a_whole_other_site_file(recording: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text(SITE.read_text().replace("rated_power_w = 350.0", "rated_power_w = 350.0\namber_pct = 87"))
    done = Done(recording, "--site", SITE, "--against", other)
    assert (done.status, done.out.splitlines()[1]) == (0, "  model five amber_pct: 85 -> 87")
    other.write_text('[facility]\nid = "elsewhere"\n')
    refused = Done(recording, "--site", SITE, "--against", other)
    assert (refused.status, refused.out) == (2, "")
    assert "elsewhere" in refused.err


def test_an_empty_recording_and_no_change(tmp_path: Path) -> None:
    (tmp_path / "changes.toml").write_text("")
    empty = recorded(tmp_path / "empty.csv", [])
    done = Done(empty, "--site", SITE, "--changes", tmp_path / "changes.toml")
    assert done.status == 0
    assert "no readings" in done.out
    assert "nothing is changed" in done.out


def test_a_wrong_file_of_changes_ends_with_2_and_names_the_line(recording: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.toml"
    wrong.write_text("[model.five]\namber_pct = 87\nred = 84\n")
    done = Done(recording, "--site", SITE, "--changes", wrong)
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith(f"{wrong}:3: unknown key 'red'; did you mean 'red_pct'?")


def test_broken_rows_are_named_counted_and_left_out(recording: Path, changes: Path) -> None:
    with recording.open("a") as file:
        file.write("2026-09-21T15:00:00Z,m1,ninety,4,340,,230,,\n")
    done = Done(recording, "--site", SITE, "--changes", changes)
    assert done.status == 1
    assert "purity_pct 'ninety' is not a number" in done.err
    assert "1 readings that could not be read, left out" in done.out


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["night.csv", "--data", "data"],
        ["night.csv", "--changes", "none.toml"],
        ["night.csv", "--changes", "a.toml", "--against", "b.toml"],
        ["night.csv", "--from", "yesterday"],
        ["--data", "no-such-directory"],
    ],
)
def test_wrong_usage_ends_with_2(words: list[str]) -> None:
    done = Done(*words, "--site", SITE)
    assert (done.status, done.out) == (2, "")
    assert done.err


def test_a_store_of_another_facility_is_refused(tmp_path: Path) -> None:
    with open_store(tmp_path / "data", "sim-elsewhere") as store, store.transaction():
        store.add_readings(READINGS[:1])
    done = Done("--data", tmp_path / "data", "--site", SITE)
    assert done.status == 2
    assert "sim-elsewhere" in done.err
