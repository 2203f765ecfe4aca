"""The command as a person runs it: exit statuses, the line of a fault, and what it writes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from collector.reading import Reading
from collector.recording import open_writer
from collector.site import load_site
from collector.store import open_store
from tests.scenario_files import FOLDER, load_scenario

SITE = FOLDER / "site.toml"
FACILITY = load_site(SITE).facility.id


def run(*words: object) -> subprocess.CompletedProcess[str]:
    argv = [sys.executable, "-m", "collector.cli", *map(str, words)]
    return subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)


def test_a_good_site_file(tmp_path: Path) -> None:
    done = run("check", SITE)
    assert (done.returncode, done.stdout.splitlines()[1]) == (0, "  Medical: 3 units")
    assert json.loads(run("check", SITE, "--json").stdout) == {
        "facility": FACILITY, "simulated": True, "wards": 2, "models": 1, "units": 4, "cylinders": 0, "people": 0,
    }  # fmt: skip


def test_a_wrong_site_file_ends_with_2_and_names_the_line(tmp_path: Path) -> None:
    wrong = tmp_path / "site.toml"
    wrong.write_text('[facility]\nid = "lake"\n[[unit]]\nid = "u"\nwrad = "w"\n')
    done = run("check", wrong)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"{wrong}:5: unknown key 'wrad'; did you mean 'ward'?\n"
    assert run("collect", "--site", wrong).returncode == 2


@pytest.mark.parametrize(
    "words", [["replay"], ["collect", "--site", SITE, "--broker", "here:there"], ["export"], ["what"]]
)
def test_wrong_usage_ends_with_2(words: list[object]) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert done.stderr
    assert "Traceback" not in done.stderr


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "night.csv"
    with open_writer(path) as writer:
        for reading in load_scenario("falls-and-shuts-off").readings:
            writer.write(reading)
    return path


def test_replay_writes_an_event_a_line_and_a_summary(recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "events.jsonl"
    done = run("replay", recording, "--site", SITE, "--out", out)
    events = [json.loads(line) for line in out.read_text().splitlines()]
    assert done.returncode == 0
    purity = [e["condition"] for e in events if e["unit"] == "m1" and e["condition"].startswith("purity-")]
    assert purity == ["purity-amber", "purity-red", "purity-shutdown"]
    assert events[0].keys() >= {
        "time",
        "unit",
        "ward",
        "event",
        "condition",
        "priority",
        "audience",
        "cause",
        "evidence",
    }
    assert "purity-shutdown raised 1 times" in done.stderr


def test_a_broken_row_is_named_and_the_rest_goes_on(recording: Path) -> None:
    with recording.open("a") as file:
        file.write("2026-09-21T15:00:00Z,m1,ninety,4,340,,230,,\n")
    done = run("replay", recording, "--site", SITE, "--json")
    lines = recording.read_text().count("\n")
    assert done.returncode == 1
    assert f"{recording}:{lines}: purity_pct 'ninety' is not a number" in done.stderr
    assert json.loads(done.stdout.splitlines()[-1])["broken"] == 1


def test_what_is_no_recording_ends_with_2(tmp_path: Path) -> None:
    assert run("replay", tmp_path / "none.csv", "--site", SITE).returncode == 2
    assert run("simulate", "--out", tmp_path / "x.txt").returncode == 2


def test_export_and_journal_of_a_store(tmp_path: Path) -> None:
    reading = Reading("m1", 1_790_000_000_000, 93.4, 4.0, 340.0)
    with open_store(tmp_path / "data", FACILITY) as store, store.transaction():
        store.add_readings([reading])
    out = tmp_path / "x.csv"
    assert run("export", "--data", tmp_path / "data", "--out", out).returncode == 0
    assert out.read_text().splitlines()[1] == "2026-09-21T14:13:20Z,m1,93.4,4.0,340.0,,,,"
    assert run("export", "--data", tmp_path / "data", "--out", tmp_path / "x.senml.jsonl").returncode == 0
    assert f'"urn:dev:ops:{FACILITY}-m1:"' in (tmp_path / "x.senml.jsonl").read_text()
    done = run("journal", "verify", "--data", tmp_path / "data")
    assert (done.returncode, done.stdout[:21]) == (0, "the journal is whole:")


@pytest.mark.parametrize("words", [["export", "--out", "x.csv"], ["journal", "verify"], ["journal", "export"]])
def test_no_store_yet_is_said_plainly(words: list[str], tmp_path: Path) -> None:
    done = run(*words, "--data", tmp_path / "nothing")
    assert done.returncode == 2
    assert "does not exist yet" in done.stderr


def test_a_simulator_refuses_a_real_facility(tmp_path: Path) -> None:
    real = tmp_path / "site.toml"
    real.write_text('[facility]\nid = "lake"\n[[unit]]\nid = "u"\n')
    done = run("simulate", "--site", real, "--scenario", "calm", "--broker", "127.0.0.1:1")
    assert done.returncode == 2
    assert "sim-" in done.stderr


def test_bench_warnings_says_what_was_measured(tmp_path: Path) -> None:
    out = tmp_path / "trial"
    done = run("bench", "warnings", "--stories", 2, "--only", "valve-fault", "--jobs", 1, "--json", "--out", out)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert (result["seed"], result["figures"]["stories"], result["figures"]["benign"]) == (1, 2, 0)
    assert {target["name"] for target in result["targets"]} >= {"Shutdowns without a ward alert before", "Chattering"}
    names = {path.name for path in out.iterdir()}
    assert names >= {"trial.json", "stories.csv", "leads.csv", "leads.svg", "causes.svg", "examples.svg"}
    assert len((out / "stories.csv").read_text().splitlines()) == 3


@pytest.mark.parametrize("words", [["--only", "earthquake"], ["--faults", "0", "--benign", "0"], ["--jobs", "0"]])
def test_bench_warnings_refuses_what_makes_no_trial(words: list[object]) -> None:
    done = run("bench", "warnings", *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
