"""Signing in as people do it, in a real browser: the first administrator, a lock-out, an ended session, a wall."""

import re
import time

import pytest
from playwright.sync_api import expect

from collector.people import codes, manage
from collector.people.accounts import sessions
from collector.people.book import By, writing
from collector.rules import entries
from dashboard import access_words as words
from dashboard import queries
from tests.browser.hands import settled
from tests.dashboard.hospital import MINUTE, Hospital, site_text, troubled
from tests.dashboard.test_browser import browser, kept_alive, page_of, serving

pytestmark = [pytest.mark.browser, pytest.mark.slow]
__all__ = ["browser"]  # a fixture is found by its name

ME = By("test", "", "test")
PASSWORD = "three grey herons wait"  # noqa: S105 - of an invented person
WARD_PASSWORD = "lamp oil"  # noqa: S105 - of an invented person


@pytest.fixture
def real_hospital(tmp_path):
    """A facility that is not simulated, with nobody in it yet."""
    text = site_text(10, facility="lakeside")
    one = Hospital(tmp_path / "data", text, time.time_ns() // 1_000_000 - 40 * MINUTE)
    one.play(40, troubled)
    with kept_alive(one), serving(one.data_dir, tmp_path / "log") as (url, _):
        yield one.data_dir, url
    one.store.close()


def add(data_dir, login, role, password, wards=()):
    with writing(data_dir) as book:
        manage.add_account(book, ME, login, f"{login.title()} Example", role, wards)
    manage.set_password(data_dir, ME, login, password)


def sign_in(page, url, login, password):
    page.goto(url)
    form = page.locator("form[action='/session/in']")
    form.locator("[name=login]").fill(login)
    form.locator("[name=password]").fill(password)
    form.get_by_role("button").click()


def kinds(data_dir):
    """What people did, newest first: not what the rules found, nor the hours that are written down at midnight."""
    rules = (entries.CONDITION, entries.SERVICE_HOURS)
    return [row.kind for row in queries.journal(data_dir, kinds=entries.KINDS) if row.kind not in rules]


def test_the_first_administrator_signs_up_with_the_code_and_only_with_it(browser, real_hospital):
    data_dir, url = real_hospital
    code = codes.first_code(data_dir, ME)
    with page_of(browser, 800, 900) as page:
        for typed in ("AAAAA-AAAAA-AAAAA-AAAAA", code.lower().replace("-", " ")):
            page.goto(f"{url}/alarms")
            expect(page.get_by_text("Nobody has an account here yet.")).to_be_visible()
            expect(page.locator("a.sw-tile")).to_have_count(0)
            for name, value in (
                ("code", typed),
                ("full_name", "A. Example"),
                ("login", "Chief"),
                ("password", PASSWORD),
            ):
                page.locator(f"[name={name}]").fill(value)
            page.get_by_role("button", name=words.FIRST_MAKE).click()
            if typed.startswith("A"):
                expect(page.get_by_text(words.SAID["wrong"])).to_be_visible()
        expect(page.locator("a.sw-tile")).to_have_count(10)
        (cookie,) = [one for one in page.context.cookies() if one["name"].startswith("sw-")]
        assert (cookie["name"], cookie["httpOnly"], cookie["sameSite"]) == ("sw-session-lakeside", True, "Strict")
        page.goto(f"{url}/people")
        expect(page.get_by_role("heading", name=words.ACCOUNTS)).to_be_visible()
        page.goto(f"{url}/sign-out")
        expect(page.locator("form[action='/session/in']")).to_be_visible()
    assert kinds(data_dir) == ["sign-out", "sign-in", "account", "sign-in-refused", "account"]


def test_a_ward_acts_in_its_own_ward_and_says_where_from(browser, real_hospital):
    data_dir, url = real_hospital
    add(data_dir, "boss", "administrator", PASSWORD)
    add(data_dir, "nurse", "ward", WARD_PASSWORD, ["medical"])
    with page_of(browser, 1366, 768) as page:
        sign_in(page, f"{url}/alarms", "nurse", WARD_PASSWORD)
        expect(page.get_by_text("You act as Nurse Example (ward, medical).")).to_be_visible()
        settled(page)
        row = page.locator("[class*='st-key-alarm-unit-03--purity-red']")
        row.get_by_role("button", name="Acknowledge").click()
        expect(page.get_by_text("acknowledged by Nurse Example (ward)")).to_be_visible()
        expect(page.get_by_text("Take out or return", exact=True)).to_have_count(0)
        expect(page.get_by_text(words.PEOPLE, exact=True)).to_have_count(0)
    (row,) = queries.journal(data_dir, kinds=[entries.ACKNOWLEDGE])
    assert (row.who, row.role, row.origin) == ("Nurse Example", "ward", "dashboard this machine")


def test_who_guesses_waits_and_the_screen_says_for_how_long(browser, real_hospital):
    data_dir, url = real_hospital
    add(data_dir, "boss", "administrator", PASSWORD)
    with page_of(browser, 800, 900) as page:
        for _ in range(5):
            sign_in(page, url, "boss", "a guess of some length")
            expect(page.get_by_text(words.SAID["wrong"])).to_be_visible()
        sign_in(page, url, "boss", PASSWORD)
        expect(page.get_by_text(re.compile("Too many tries in vain. Wait [0-9]+ s"))).to_be_visible()
        with writing(data_dir) as book:
            manage.unlock_account(book, ME, "boss")
        sign_in(page, url, "boss", PASSWORD)
        expect(page.locator("a.sw-tile")).to_have_count(10)
    assert "sign-in-locked" in kinds(data_dir)


def test_a_session_that_is_ended_closes_its_screen(browser, real_hospital):
    data_dir, url = real_hospital
    add(data_dir, "boss", "administrator", PASSWORD)
    with page_of(browser, 1366, 768) as page:
        sign_in(page, f"{url}/unit?unit=unit-05", "boss", PASSWORD)
        expect(page.locator("#tile-unit-05")).to_be_visible()
        expect(page).to_have_url(f"{url}/unit?unit=unit-05")
        with writing(data_dir) as book:
            manage.end_session(book, ME, sessions(book.conn)[0].id)
        expect(page.locator("form[action='/session/in']")).to_be_visible()
        expect(page.locator("#tile-unit-05")).to_have_count(0)


def test_a_wall_screen_shows_its_ward_until_its_link_is_withdrawn(browser, real_hospital):
    data_dir, url = real_hospital
    add(data_dir, "boss", "administrator", PASSWORD)
    with writing(data_dir) as book:
        link, token = manage.add_wall_link(book, ME, "medical", "desk")
    with page_of(browser) as page:
        page.goto(f"{url}/?wall={token}")
        expect(page.locator("#wall-tiles .ww-tile")).to_have_count(5)
        expect(page.locator("#sw-wall a, #sw-feed a")).to_have_count(0)
        expect(page.locator("[data-testid=stTopNavLink]")).to_have_count(0)
        with writing(data_dir) as book:
            manage.withdraw_wall_link(book, ME, link.id)
        begun_s = time.monotonic()
        expect(page.get_by_text(words.WALL_WITHDRAWN)).to_be_visible()
        assert time.monotonic() - begun_s < 6
        expect(page.locator("#wall-tiles .ww-tile")).to_have_count(0)
        page.goto(f"{url}/?wall=guessed")
        expect(page.get_by_text(words.WALL_UNKNOWN)).to_be_visible()
