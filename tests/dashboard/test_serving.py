"""The dashboard's own process: whom it believes about addresses, and what it tells somebody who is not signed in."""

import os
import subprocess
import urllib.request
from contextlib import contextmanager

import httpx2
import pytest

from dashboard.doorway import IN
from dashboard.launch import Serving, command
from tests.collector.people.house import PASSWORD, House
from tests.waiting import free_port, wait_for

pytestmark = pytest.mark.slow


@contextmanager
def serving(data_dir, log, **how):
    port = free_port()
    argv, env = command(data_dir, port, serving=Serving(**how))
    url = f"http://127.0.0.1:{port}"

    def answers():
        assert process.poll() is None, log.read_text()
        try:
            return urllib.request.urlopen(f"{url}/_stcore/health", timeout=1).status == 200  # noqa: S310
        except OSError:
            return False

    with log.open("wb") as out:
        process = subprocess.Popen(argv, env=os.environ | env, stdout=out, stderr=subprocess.STDOUT)
        try:
            wait_for(answers, 60, "the dashboard to answer")
            yield url
        finally:
            process.kill()
            process.wait(10)


@pytest.mark.parametrize(("proxy", "seen", "secure"), [("", "this machine", False), ("127.0.0.1", "203.0.113.9", True)])
def test_a_forwarded_address_counts_only_from_a_proxy_that_was_named(tmp_path, proxy, seen, secure):
    house = House(tmp_path / "data")
    house.add()
    with serving(house.data_dir, tmp_path / "log", proxy=proxy) as url:
        said = {"X-Forwarded-For": "198.51.100.1, 203.0.113.9", "X-Forwarded-Proto": "https"}
        reply = httpx2.post(url + IN, data={"login": "boss", "password": PASSWORD}, headers={"Origin": url} | said)
    assert (reply.status_code, reply.headers["location"]) == (303, "/")
    assert ("Secure" in reply.headers["set-cookie"]) == secure
    (row,) = house.rows("sign-in")
    assert row.origin == f"dashboard {seen}"
