"""Single sign-on against a real OpenID provider on this machine, in a real browser."""

import json
import os
import re
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect

from collector.people import manage
from collector.people.book import By, writing
from collector.rules import entries
from dashboard import access_words as words
from dashboard import queries
from dashboard.launch import Serving, command
from tests.dashboard.hospital import MINUTE, Hospital, good, site_text
from tests.dashboard.test_browser import browser, kept_alive, page_of
from tests.waiting import free_port, wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["browser"]  # a fixture is found by its name

ME = By("test", "", "test")
KNOWN = {"sub": "known", "email": "Nora@hospital.example", "email_verified": True}
STRANGER = {"sub": "stranger", "email": "stranger@hospital.example", "email_verified": True}
UNPROVEN = {"sub": "unproven", "email": "nora@hospital.example", "email_verified": False}


@contextmanager
def running(argv, url, log, env=None):
    """A server as a child process, once it answers."""

    def answers():
        assert process.poll() is None, log.read_text()
        try:
            return urllib.request.urlopen(url, timeout=1).status == 200  # noqa: S310
        except OSError:
            return False

    with log.open("wb") as out:
        process = subprocess.Popen(argv, env=os.environ | (env or {}), stdout=out, stderr=subprocess.STDOUT)
        try:
            wait_for(answers, 60, f"{url} to answer")
            yield
        finally:
            process.kill()
            process.wait(10)


@pytest.fixture
def hospital_with_sso(tmp_path):
    """A facility whose dashboard trusts a provider that knows three people."""
    one = Hospital(tmp_path / "data", site_text(5, facility="lakeside"), time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, good)
    provider, port = free_port(), free_port()
    discovery = f"http://127.0.0.1:{provider}/.well-known/openid-configuration"
    argv = [sys.executable, "-W", "ignore", "-m", "oidc_provider_mock", "-p", str(provider)]
    for user in (KNOWN, STRANGER, UNPROVEN):
        argv += ["--user-claims", json.dumps(user)]
    sso = tmp_path / "sso.toml"
    sso.write_text(f'server_metadata_url = "{discovery}"\nclient_id = "sieveward"\nclient_secret = "of a test"\n'
                   f'redirect_uri = "http://127.0.0.1:{port}/oauth2callback"\n')  # fmt: skip
    served, env = command(one.data_dir, port, serving=Serving(sso=sso))
    url = f"http://127.0.0.1:{port}"
    with writing(one.data_dir) as book:
        manage.add_account(book, ME, "boss", "B. Example", "administrator", ())
        manage.add_account(book, ME, "nora", "N. Example", "ward", ["medical"], str(KNOWN["email"]))
    with (
        kept_alive(one),
        running(argv, discovery, tmp_path / "provider.log"),
        running(served, f"{url}/_stcore/health", tmp_path / "log", env),
    ):
        yield one.data_dir, url
    one.store.close()


def go_in(page, url, who):
    """Through the provider's page and back."""
    page.route(re.compile("^https:"), lambda route: route.abort())  # the provider's page asks for a style sheet
    page.goto(url)
    page.get_by_role("button", name=words.BY_SSO).click()
    page.get_by_role("button", name=who["sub"], exact=False).first.click()


def test_whom_the_provider_vouches_for_gets_the_rights_of_their_account(browser, hospital_with_sso):
    data_dir, url = hospital_with_sso
    with page_of(browser, 1366, 768, watched=False) as page:
        go_in(page, url, KNOWN)
        expect(page.locator("a.sw-tile")).to_have_count(5)
        page.goto(f"{url}/alarms")
        expect(page.get_by_text("You act as N. Example (ward, medical).")).to_be_visible()
        names = {cookie["name"] for cookie in page.context.cookies()}
        assert not [name for name in names if name.startswith("_streamlit_user")], "the provider's word was used up"
        page.goto(f"{url}/sign-out")
        expect(page.locator("form[action='/session/in']")).to_be_visible()
        page.reload()
        expect(page.get_by_role("button", name=words.BY_SSO)).to_be_visible()
    row = queries.journal(data_dir, kinds=[entries.SIGN_IN])[0]
    assert (row.who, row.body) == ("N. Example", {"login": "nora", "how": "single sign-on"})


@pytest.mark.parametrize("who", [STRANGER, UNPROVEN], ids=["stranger", "unproven"])
def test_whom_no_account_knows_is_not_let_in(browser, hospital_with_sso, who):
    data_dir, url = hospital_with_sso
    with page_of(browser, 1366, 768, watched=False) as page:
        go_in(page, url, who)
        expect(page.get_by_text(words.SSO_NOBODY)).to_be_visible()
        expect(page.locator("a.sw-tile")).to_have_count(0)
    assert [row.kind for row in queries.journal(data_dir, kinds=[entries.SIGN_IN, entries.SIGN_IN_REFUSED])] == [
        entries.SIGN_IN_REFUSED]  # fmt: skip
