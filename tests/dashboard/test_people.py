"""Screens for somebody who is signed in: what is offered, and the page of people."""

import pytest

from collector.people import manage
from collector.people.accounts import account_by
from collector.people.book import By, reading, writing
from collector.people.passwords import hash_password
from collector.people.signin import sign_in
from collector.rules import entries
from dashboard import access, queries
from dashboard import access_words as words
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import site_text, troubled
from tests.dashboard.upkeep import upkeep_text

ME = By("test", "", "test")
PASSWORD = "three grey herons wait"  # noqa: S105 - of an invented person
HASH = hash_password(PASSWORD)


def add(data_dir, login, role, wards=()):
    """An account with a password, whose hash is made once for all tests."""
    with writing(data_dir) as book:
        manage.add_account(book, ME, login, f"{login.title()} Example", role, wards)
        book.conn.execute("UPDATE account SET password = ? WHERE login = ?", (HASH, login))


@pytest.fixture
def signed_in(monkeypatch):
    """Make a screen's cookie that of somebody who signs in now."""

    def enter(one, login):
        token = sign_in(one.data_dir, login, PASSWORD, "10.0.0.7")
        monkeypatch.setattr(access, "cookies", lambda: {"sw-session-lakeside": token})

    return enter


@pytest.fixture
def lakeside(hospital):
    """A facility that is not simulated, with an administrator and a ward's account."""
    one = hospital(troubled, text=site_text(24, facility="lakeside"))
    add(one.data_dir, "boss", "administrator")
    add(one.data_dir, "nurse", "ward", ["medical"])
    return one


def buttons(app):
    return {button.key for button in app.button}


def test_a_ward_is_offered_its_own_alarms_only(screen, lakeside, signed_in):
    signed_in(lakeside, "nurse")
    app = screen("alarms")
    offered = {key.split(":")[1] for key in buttons(app) if key and key.startswith("ack:")}
    assert offered
    assert all(lakeside.site.ward_of(unit).id == "medical" for unit in offered if unit)
    assert "You act as **Nurse Example** (ward, medical)." in seen(app)
    assert not [box for box in app.text_input if box.label in ("Your name", "Why")][3:], "no form of units in service"


def test_what_somebody_does_is_written_with_their_accounts_name(screen, lakeside, signed_in):
    signed_in(lakeside, "nurse")
    screen("alarms").button(key="ack:unit-03::purity-red").click().run()
    (row,) = queries.journal(lakeside.data_dir, kinds=[entries.ACKNOWLEDGE])
    assert (row.who, row.role, row.origin) == ("Nurse Example", "ward", "dashboard this machine")


def test_a_button_pressed_after_the_session_ended_writes_nothing_and_says_so(screen, lakeside, signed_in, monkeypatch):
    signed_in(lakeside, "nurse")
    app = screen("alarms")
    with writing(lakeside.data_dir) as book:
        manage.disable_account(book, ME, "nurse")
    app.button(key="ack:unit-03::purity-red").click().run()
    assert "You are not signed in any more." in seen(app)
    assert queries.journal(lakeside.data_dir, kinds=[entries.ACKNOWLEDGE]) == []


@pytest.mark.parametrize("name", ["work", "parts", "visits", "unit", "backup"])
@pytest.mark.parametrize(("login", "role"), [("nurse", "ward"), ("planner", "planner"), ("boss", "administrator")])
def test_screens_of_upkeep_ask_nobody_who_they_are(screen, hospital, signed_in, name, login, role):
    one = hospital(text=upkeep_text().replace("sim-lakeside", "lakeside"))
    add(one.data_dir, login, role, ["medical"] if role == "ward" else ())
    signed_in(one, login)
    app = screen(name)
    seen(app)
    assert [box for box in app.selectbox if box.key in ("crew-name", "crew-role")] == []


def test_the_page_of_people_is_for_administrators(screen, lakeside, signed_in):
    assert words.FOR_ADMINISTRATORS in seen(screen("people"))
    signed_in(lakeside, "nurse")
    app = screen("people")
    assert words.FOR_ADMINISTRATORS in seen(app)
    assert buttons(app) == set()


def test_an_administrator_sees_who_there_is_and_what_happened_at_the_door(screen, lakeside, signed_in):
    signed_in(lakeside, "boss")
    said = seen(screen("people"))
    assert "Boss Example" in said
    assert "**Boss Example** from 10.0.0.7 by password" in said
    assert "sign in" in said
    assert HASH not in said


def test_an_administrator_adds_an_account_and_is_shown_its_code_once(screen, lakeside, signed_in):
    signed_in(lakeside, "boss")
    app = screen("people")
    app.text_input(key="add-login").set_value("night")
    app.text_input(key="add-name").set_value("Night Example")
    app.multiselect(key="add-wards").set_value(["surgical"])
    next(button for button in app.button if button.label == words.ADD_ACCOUNT).click().run()
    assert "**night** signs in the first time with this code, within 3 days: `" in seen(app)
    assert "with this code" not in seen(app.run())
    with reading(lakeside.data_dir) as book:
        made = account_by(book.conn, "login", "night")
    assert made is not None
    assert (made.role, made.wards) == ("ward", ("surgical",))


def test_an_administrator_makes_and_withdraws_a_wall_link(screen, lakeside, signed_in):
    signed_in(lakeside, "boss")
    app = screen("people")
    next(button for button in app.button if button.label == words.MAKE_LINK).click().run()
    assert "/?wall=" in seen(app)
    app.button(key="withdraw-1").click().run()
    assert "Link 1 is withdrawn" in seen(app)
    rows = queries.journal(lakeside.data_dir, kinds=[entries.WALL_LINK])
    assert [(row.who, row.body["what"]) for row in rows] == [("Boss Example", "withdrawn"), ("Boss Example", "made")]


@pytest.mark.parametrize("deed", ["disable_account", "last_session"])
def test_an_administrator_ends_what_they_may_no_longer_do(screen, lakeside, signed_in, deed):
    """The page was drawn for an administrator; the button is pressed by nobody any more."""
    signed_in(lakeside, "boss")
    app = screen("people")
    add(lakeside.data_dir, "second", "administrator")
    with writing(lakeside.data_dir) as book:
        if deed == "disable_account":
            manage.disable_account(book, ME, "boss")
        else:
            manage.end_session(book, ME, 1)
    next(button for button in app.button if button.label == words.MAKE_LINK).click().run()
    assert queries.journal(lakeside.data_dir, kinds=[entries.WALL_LINK]) == []


def test_an_open_simulation_says_how_to_begin(screen, hospital):
    hospital()
    assert words.OPEN_HOW in seen(screen("people"))
    assert "open: nobody signs in here" in seen(screen("board"))


@pytest.mark.parametrize("state", ["nobody", "signed in"])
def test_the_own_account(screen, lakeside, signed_in, state):
    if state == "signed in":
        signed_in(lakeside, "nurse")
    said = seen(screen("account"))
    assert ("/session/change" in said) == (state == "signed in")
