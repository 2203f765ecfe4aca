"""`sieveward deliver`: the messages file is proven, a way is tried; a process that is killed goes on where it was."""

import os
import random
import subprocess
import sys
import time

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.rules import entries
from collector.rules.catalogue import CATALOGUE
from collector.rules.entries import MESSAGE_SENT, JournalEntry
from collector.store import open_store
from collector.store.history import journal_rows, open_reader, status
from collector.store.journal import JournalWriter, verify
from tests.collector.messages.gateways import Web
from tests.collector.messages.world import SITE
from tests.waiting import wait_for

KILLS = 4
SPEED = 60.0


@pytest.fixture
def web():
    web = Web()
    yield web
    web.close()


@pytest.fixture
def site(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text('messages = { file = "messages.toml" }\n' + SITE)
    return path


def write_ways(site, text):
    path = site.with_name("messages.toml")
    path.write_text(text)
    path.chmod(0o600)


def way(web, path, role, more=""):
    return f'[[way]]\nid = "{path}"\nurl = "{web.url(path)}"\nrole = "{role}"\nperson = "The {role}"\n{more}\n'


def run(*words):
    done = CliRunner().invoke(app, ["deliver", *map(str, words)])
    if isinstance(done.exception, Refused):
        return done.exception.status, str(done.exception)
    assert done.exception is None, done.output
    return done.exit_code, done.output


def test_check_says_who_is_told_of_what_and_what_is_left_out(site, web):
    write_ways(site, way(web, "take", "ward", 'wards = ["newborn"]\nquiet_hours = "21:00-06:00"\nshort = true'))
    code, said = run("--check", "--site", site)
    assert code == 0
    assert "messages.toml is good: 1 ways" in said
    assert ("take: The ward (ward), wards newborn, high and medium priority, medium and low not in 21:00-06:00; one SMS"
            in said)  # fmt: skip
    assert "nobody is told of high priority in Children's ward" in said
    assert "nobody is told when the collector itself is gone" in said


def test_try_sends_one_message_marked_test(site, web):
    write_ways(site, way(web, "take", "ward"))
    code, said = run("--try", "take", "--site", site)
    assert (code, len(web.posts)) == (0, 1)
    assert web.to("take")[0]["title"].startswith("TEST, no alarm: ")
    assert "take: the gateway took it" in said


@pytest.mark.parametrize(
    ("text", "words", "status", "said"),
    [
        (None, ["--check"], 2, "no such file; write one"),
        ('[[way]]\nid = "x"\nurl = "nonsense://x"\nrole = "ward"\n', ["--check"], 2, "none that apprise knows"),
        ("", ["--try", "nobody"], 2, "no way 'nobody'"),
        ("refuse", ["--try", "refuse"], 1, "refuse: the gateway answered with error 500"),
    ],
)
def test_what_is_wrong_is_said_with_its_status(site, web, text, words, status, said):
    if text is not None:
        write_ways(site, way(web, text, "ward") if text == "refuse" else text)
    code, heard = run(*words, "--site", site)
    assert code == status
    assert said in heard
    assert "hush" not in heard


def test_without_a_messages_file_nothing_is_asked_for_and_it_says_the_way_out(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(SITE)
    code, said = run("--check", "--site", path)
    assert code == 2
    assert "name one with --messages FILE" in said


def test_without_a_collectors_data_it_says_so(tmp_path):
    code, said = run("--data", tmp_path / "none")
    assert code == 1
    assert "Start the collector with this data directory first." in said


def told_site(site, data):
    """A collector's data directory whose clock runs SPEED times as fast as the wall."""
    now_ms = time.time_ns() // 1_000_000
    with open_store(data, "lakeside") as store, store.transaction():
        store.set_status("clock", {"wall_ms": now_ms, "at_ms": now_ms, "speed": SPEED})
        store.set_status("site", {"path": str(site), "text": site.read_text()})
    return lambda: now_ms + int((time.time_ns() // 1_000_000 - now_ms) * SPEED)


def start(data):
    return subprocess.Popen([sys.executable, "-m", "collector.cli", "deliver", "--data", str(data)],
                            stderr=subprocess.PIPE, env={**os.environ, "PYTHONUNBUFFERED": "1"})  # fmt: skip


def raised(data, unit, at_ms):
    known = CATALOGUE["purity-red"]
    body = {"event": "raised", "priority": "high", "audience": list(known.audience), "cause": "unknown",
            "action": known.action, "evidence": {}}  # fmt: skip
    JournalWriter(data).append([JournalEntry(
        at_ms=at_ms, kind=entries.CONDITION, unit=unit, ward="newborn", condition="purity-red", body=body,
    )])  # fmt: skip


def sent(data, way):
    conn = open_reader(data)
    try:
        rows = journal_rows(conn, kinds=(MESSAGE_SENT,), limit=10_000)
        assert verify(conn).ok
        return [item["unit"] for row in rows if row.body["way"] == way for item in row.body["alarms"]]
    finally:
        conn.close()


def state_of(data):
    conn = open_reader(data)
    try:
        return status(conn, "deliver")
    finally:
        conn.close()


@pytest.mark.slow
def test_killed_at_random_it_tells_every_alarm_and_writes_each_down_once(site, web, tmp_path):
    data, dice = tmp_path / "data", random.Random(7)  # noqa: S311 - moments of kills
    write_ways(site, way(web, "take", "ward") + way(web, "late", "engineer"))
    now_ms = told_site(site, data)
    units = [f"u{n:02}" for n in range(1, 2 * KILLS + 1)]
    for n in range(KILLS):
        child = start(data)
        before = len(web.posts)
        raised(data, units[2 * n], now_ms())
        wait_for(lambda before=before: len(web.posts) > before, 30, "a message of this process")
        raised(data, units[2 * n + 1], now_ms())
        until_s = time.monotonic() + dice.random()
        wait_for(lambda until_s=until_s: time.monotonic() > until_s, 5, "a moment by chance")
        child.kill()
        child.communicate()
    child = start(data)
    wait_for(lambda: set(sent(data, "take")) == set(sent(data, "late")) == set(units), 60, "every alarm on both ways")
    document = wait_for(lambda: state_of(data), 20, "how it stands")
    child.terminate()
    assert child.wait(20) == 0
    child.communicate()
    for name in ("take", "late"):
        assert sorted(sent(data, name)) == units  # each in one row, once
        rows = len(web.to(name))
        assert rows <= len(units) + KILLS  # a kill between answer and row may repeat one
    assert set(document["carriers"]) == {"messages"}
    assert "hush" not in str(document)
