"""The commands, as processes: what is stored goes to a real server, and comes back when the store has it no more."""

import random
import subprocess
import sys

import pytest

from tests.collector.influx.conftest import retained
from tests.collector.store.samples import HOUR, START, put, run_of, upkeep
from tests.influx_server import BOTH_TOKEN
from tests.waiting import wait_for

SITE = """
[facility]
id = "sim-test"
[influx]
url = "{url}"
bucket = "{bucket}"
token_file = "influx.token"
"""


def run(*words):
    argv = [sys.executable, "-m", "collector.cli", *map(str, words)]
    return subprocess.run(argv, capture_output=True, text=True, timeout=120, check=False)


@pytest.fixture
def site(tmp_path, server, target):
    """A site file that names the server, and the token beside it."""
    (tmp_path / "influx.token").write_text(BOTH_TOKEN + "\n")
    path = tmp_path / "site.toml"
    path.write_text(SITE.format(url=server.url, bucket=target.bucket))
    return path


@pytest.fixture
def past(store):
    """Three hours, rolled up."""
    readings = run_of(3)
    put(store, readings)
    upkeep(store, START + 3 * HOUR)
    return readings


def test_an_existing_store_is_carried_once_and_then_there_is_nothing_left(store, past, server, target, data_dir, site):
    done = run("deliver", "--once", "--data", data_dir, "--site", site)
    assert (done.returncode, done.stdout) == (0, "nothing is left to carry\n")
    assert len(server.rows(target.database[0], "SELECT * FROM reading")) == len(past)
    writes = server.front.writes
    assert run("deliver", "--once", "--data", data_dir, "--site", site).returncode == 0
    assert server.front.writes == writes
    carriers = store.status("deliver")["carriers"]
    assert (carriers["influx"]["waiting"], carriers["influx"]["dropped"]) == (0, 0)


def test_a_missing_token_is_said_and_holds_up_no_other_carrier(past, data_dir, site):
    (site.parent / "influx.token").unlink()
    words = ("deliver", "--data", str(data_dir), "--site", str(site))
    with subprocess.Popen([sys.executable, "-m", "collector.cli", *words], stderr=subprocess.PIPE, text=True) as child:
        assert child.stderr is not None
        said = [next(line for line in child.stderr if "carrier-failed" in line)]
        child.terminate()
    assert "influx.token: cannot be read" in said[0]


def test_export_takes_from_there_what_the_store_no_longer_has(store, past, data_dir, site, tmp_path):
    assert run("deliver", "--once", "--data", data_dir, "--site", site).returncode == 0
    retained(store, START + 2 * HOUR)
    here, all_of_it = tmp_path / "here.csv", tmp_path / "all.csv"
    assert run("export", "--data", data_dir, "--out", here).returncode == 0
    done = run("export", "--data", data_dir, "--out", all_of_it, "--influx", "--site", site)
    assert (done.returncode, f"{len(past)} readings written" in done.stderr) == (0, True)
    assert len(here.read_text().splitlines()) < len(all_of_it.read_text().splitlines()) == len(past) + 1


def test_export_without_an_influx_in_the_site_file_says_so(past, data_dir, tmp_path):
    site = tmp_path / "bare.toml"
    site.write_text('[facility]\nid = "sim-test"\n')
    done = run("export", "--data", data_dir, "--out", tmp_path / "x.csv", "--influx", "--site", site)
    assert (done.returncode, "names no InfluxDB" in done.stderr) == (2, True)


def test_killed_at_any_moment_nothing_is_lost_and_nothing_is_double(store, server, target, data_dir, site):
    readings = run_of(20, every_ms=4_000)
    put(store, readings)
    upkeep(store, START + 20 * HOUR)
    rng = random.Random(5)  # noqa: S311 - moments of a test
    for _ in range(4):
        seen = server.front.writes + rng.randint(1, 4)
        words = ("deliver", "--data", str(data_dir), "--site", str(site))
        with subprocess.Popen([sys.executable, "-m", "collector.cli", *words], stderr=subprocess.DEVNULL) as child:
            wait_for(lambda seen=seen: server.front.writes >= seen, 30, "a write")
            child.kill()
    assert run("deliver", "--once", "--data", data_dir, "--site", site).returncode == 0
    found = server.rows(target.database[0], "SELECT count(hours_h), count(lamp), count(purity_pct) FROM reading")[0]
    wanted = {name: sum(getattr(r, name) is not None for r in readings) for name in ("hours_h", "lamp", "purity_pct")}
    assert (found["count"], found["count_1"], found["count_2"]) == tuple(wanted.values())
