"""The commands: what they say, their exit status, and what is on record afterwards."""

import json
import time

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.safekeeping.told import DOCUMENT
from collector.store import open_reader
from collector.store.history import journal_rows, status


def run(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


def recorded(data, kind):
    return journal_rows(open_reader(data), kinds=(kind,))


def test_a_copy_is_made_listed_verified_and_put_back(data, folder, tmp_path) -> None:
    made = run("keep", "now", "--data", data, "--to", folder, "--same-disk")
    assert made.exit_code == 0
    assert "is good: 1,620 readings of 3 units, journal to row 50:" in made.stdout
    (listed,) = json.loads(run("keep", "list", "--to", folder, "--json").stdout)
    copy = folder / listed["copy"]
    assert run("keep", "verify", copy).exit_code == 0
    back = run("restore", copy, "--data", tmp_path / "new", "--who", "Amie")
    assert (back.exit_code, "the journal goes on at row 51:" in back.stdout) == (0, True)
    assert recorded(tmp_path / "new", "store-restored")[0].who == "Amie"


def test_a_good_copy_is_on_record(data, folder) -> None:
    run("keep", "now", "--data", data, "--to", folder, "--same-disk")
    (row,) = recorded(data, "copy-kept")
    assert (row.body["head_seq"], row.body["folder"]) == (50, str(folder))
    document = status(open_reader(data), DOCUMENT) or {}
    assert abs(document["good"]["wall_ms"] / 1000 - time.time()) < 60


def test_a_failed_one_is_on_record_too(data, folder) -> None:
    failed = run("keep", "now", "--data", data, "--to", folder / "usb")
    assert isinstance(failed.exception, Refused)
    assert failed.exception.status == 1
    (row,) = recorded(data, "copy-failed")
    assert "Plug the disk in" in row.body["said"]
    assert "Plug the disk in" in (status(open_reader(data), DOCUMENT) or {})["failed"]["said"]


@pytest.mark.parametrize("command", [("keep", "list", "--to"), ("keep", "verify"), ("restore", "--data", "new")])
def test_what_is_not_there_is_said(command, tmp_path) -> None:
    failed = run(*command, tmp_path / "nothing")
    assert isinstance(failed.exception, Refused)
    assert "nothing" in str(failed.exception)


def test_no_copies_is_no_error(folder) -> None:
    assert run("keep", "list", "--to", folder).stdout == "no copies\n"


def test_without_a_store_nothing_is_made(tmp_path, folder) -> None:
    failed = run("keep", "now", "--data", tmp_path / "none", "--to", folder, "--same-disk")
    assert "there is nothing to keep" in str(failed.exception)
    assert not (tmp_path / "none").exists()
