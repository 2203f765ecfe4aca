"""`sieveward user`: accounts and wall links from the command line; no password stands in its arguments."""

import json
import subprocess
import sys

import pytest

from collector.people.accounts import wall_link_of
from collector.people.book import reading
from collector.people.codes import make_first, set_by_code
from tests.collector.people.house import PASSWORD, House
from tests.collector.test_cli import run


@pytest.fixture
def house(tmp_path):
    return House(tmp_path / "data")


def user(house, *words, stdin=None):
    argv = [sys.executable, "-m", "collector.cli", "user", *words, "--data", str(house.data_dir)]
    return subprocess.run(argv, input=stdin, capture_output=True, text=True, timeout=60, check=False)


def test_an_empty_list_says_how_to_begin(house):
    done = user(house, "list")
    assert (done.returncode, "sieveward user first" in done.stdout) == (0, True)


def test_a_missing_store_is_named_with_the_way_out(tmp_path):
    done = run("user", "list", "--data", str(tmp_path / "none"))
    assert (done.returncode, "Start the collector" in done.stderr) == (2, True)


def test_from_the_first_code_to_a_ward_account(house):
    code = user(house, "first").stdout.strip()
    assert make_first(house.data_dir, code, "chief", "A. Example", PASSWORD, "10.0.0.7")
    again = user(house, "first")
    assert (again.returncode, "an administrator already" in again.stderr) == (1, True)
    added = user(house, "add", "nurse", "--name", "N. Example", "--role", "ward", "--ward", "east")
    assert set_by_code(house.data_dir, added.stdout.strip(), "lamp oil", "10.0.0.8")
    listed = json.loads(user(house, "list", "--json").stdout)["accounts"]
    assert [(one["login"], one["role"], one["wards"], one["state"]) for one in listed] == [
        ("chief", "administrator", [], "good"), ("nurse", "ward", ["east"], "good")]  # fmt: skip
    user(house, "disable", "nurse")
    assert "nurse  N. Example  ward  east  disabled" in user(house, "list").stdout


def test_a_password_is_read_from_standard_input_and_judged(house):
    house.add()
    assert house.sign_in()
    short = user(house, "password", "boss", "--stdin", stdin="lamp oil\n")
    assert (short.returncode, "15 characters or more" in short.stderr) == (1, True)
    assert user(house, "password", "boss", "--stdin", stdin="four grey herons wait\n").returncode == 0
    assert house.sign_in("boss", "four grey herons wait")


def test_a_ward_is_needed_and_must_be_in_the_site_file(house):
    for words, said in (([], "name one or more"), (["--ward", "north"], "no ward 'north'")):
        done = user(house, "add", "nurse", "--name", "N", "--role", "ward", *words)
        assert (done.returncode, said in done.stderr) == (1, True)


def test_a_wall_link_is_shown_once_listed_and_withdrawn(house):
    made = user(house, "wall", "add", "east", "--place", "desk", "--base", "http://ward-server:8501/")
    url = made.stdout.strip()
    assert url.startswith("http://ward-server:8501/?wall=")
    token = url.partition("=")[2]
    with reading(house.data_dir) as book:
        link = wall_link_of(book.conn, token)
    assert link is not None
    listed = user(house, "wall", "list").stdout
    assert "1  east  desk" in listed
    assert token not in listed
    assert user(house, "wall", "withdraw", "1").returncode == 0
    (row,) = json.loads(user(house, "wall", "list", "--json").stdout)["links"]
    assert row["withdrawn"]
