"""Each action a screen can write, by each role, in the account's own ward and in another one.

The page offers it exactly when the table says so; what may not be written is refused where it is written, with words,
also when a page would hand it over; what may be written is in the journal with who, role and from where.
"""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest
import streamlit as st

from collector.people import manage
from collector.people.rights import (
    ADMINISTRATOR,
    OVERRIDE,
    PEOPLE,
    RIGHTS,
    TRY_LIMITS,
    WARD,
    NotAllowed,
    may,
    site_right,
)
from collector.rules import entries
from collector.store.history import journal_rows
from dashboard import access, limits_words, queries, register
from dashboard.actions import Person, Refused
from dashboard.launch import DATA_ENV
from tests.dashboard.conftest import seen
from tests.dashboard.role_actions import ACTIONS, WHERE
from tests.dashboard.role_house import ACCOUNTS, House, Me, Seen, has


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    return House(tmp_path_factory.mktemp("each-role"))


@pytest.fixture
def enter(house, monkeypatch):
    """Sign somebody in at this screen, on the store that is shown or on the one that is written to."""

    def enter(login, data_dir):
        monkeypatch.setenv(DATA_ENV, str(data_dir))
        monkeypatch.setattr(access, "cookies", lambda: {"sw-session-lakeside": house.tokens[login]})
        role, wards = ACCOUNTS[login]
        return Me(login, Person(f"{login.title()} Example", role, wards, signed_in=True))

    yield enter
    st.cache_resource.clear()


def rows_of(house):
    return {row.seq for row in queries.journal(house.written)}


@pytest.mark.parametrize("login", ACCOUNTS)
@pytest.mark.parametrize(("name", "ward"), WHERE)
def test_a_page_offers_what_the_table_says(house, enter, name, ward, login):
    action, me = ACTIONS[name], enter(login, house.shown)
    assert set(action.offered(Seen(house, me, ward))) == {me.may(action, ward)}


@pytest.mark.parametrize("login", ACCOUNTS)
@pytest.mark.parametrize(("name", "ward"), WHERE)
def test_only_what_the_table_says_is_written(house, enter, name, ward, login):
    """Refused is also the row that an administrator's page would make, handed over with this account's role."""
    action, me, before = ACTIONS[name], enter(login, house.written), rows_of(house)
    if me.may(action, ward):
        row = access.write(action.make(house, ward, me.person))
        assert (row.who, row.role, row.origin) == (me.person.name, me.person.role, "dashboard this machine")
        assert rows_of(house) - before == {row.seq}
        return
    entry = action.make(house, ward, me.person._replace(role=ADMINISTRATOR))
    with pytest.raises(Refused, match="Ask "):
        access.write(msgspec.structs.replace(entry, role=me.person.role))
    with pytest.raises(Refused, match=r"Ask | for |role|stays out"):
        access.write(action.make(house, ward, me.person))
    assert rows_of(house) == before


@pytest.mark.parametrize("login", ACCOUNTS)
@pytest.mark.parametrize(("unit", "ward"), [("unit-01", "medical"), ("unit-06", "surgical")])
def test_a_swap_takes_a_unit_out_in_the_same_go_only_where_both_may_be_written(house, enter, unit, ward, login):
    """Else the swap would stand, and the refusal of the second row would come too late."""
    me = enter(login, house.shown)
    app = house.page(me, "unit", unit=unit, state=((f"do-{unit}", "swap"),))
    assert has(app, f"do-swap-with-{unit}")
    assert has(app, f"do-swap-out-{unit}") == me.may(ACTIONS["take out of service"], ward)


# -- what is no row of the journal's own, or is written by the page of people ------------------------------------------
DEEDS: dict[str, Callable[..., Any]] = {
    "add an account": lambda book, by: manage.add_account(book, by, "night", "Night Example", WARD, ["medical"]),
    "change an account": lambda book, by: manage.change_account(book, by, "planner", role=ADMINISTRATOR),
    "disable an account": lambda book, by: manage.disable_account(book, by, "nurse"),
    "give a new code": lambda book, by: manage.password_code(book, by, "nurse"),
    "end a session": lambda book, by: manage.end_session(book, by, 1),
    "make a wall link": lambda book, by: manage.add_wall_link(book, by, "medical", "desk"),
}


@pytest.mark.parametrize("login", ACCOUNTS)
def test_the_page_of_people_is_offered_to_administrators(house, enter, login):
    app = house.page(enter(login, house.shown), "people")
    assert has(app, "add-login") == has(app, "wall-ward") == has(app, "change-login") == may(ACCOUNTS[login][0], PEOPLE)


@pytest.mark.parametrize("login", [name for name, (role, _) in ACCOUNTS.items() if role != ADMINISTRATOR])
@pytest.mark.parametrize("deed", DEEDS)
def test_nobody_else_does_what_the_page_of_people_does(house, enter, deed, login):
    enter(login, house.written)
    before = rows_of(house)
    with pytest.raises(NotAllowed, match="for administrators"), register.access_book() as (book, by):
        DEEDS[deed](book, by)
    assert rows_of(house) == before


class TakenBack(Exception):
    """Ends a transaction of which nothing is kept, since other tests need these accounts."""


@pytest.mark.parametrize("deed", DEEDS)
def test_what_an_administrator_does_to_accounts_says_who_and_from_where(house, enter, deed):
    me, before = enter("boss", house.written), rows_of(house)
    with pytest.raises(TakenBack), register.access_book() as (book, by):  # noqa: PT012 - all in one transaction
        DEEDS[deed](book, by)
        (row,) = [one for one in journal_rows(book.conn) if one.seq not in before]
        assert (row.who, row.role, row.origin) == (me.person.name, ADMINISTRATOR, "dashboard this machine")
        raise TakenBack
    assert rows_of(house) == before


@pytest.mark.parametrize("login", ACCOUNTS)
def test_limits_are_tried_by_maintenance(house, enter, login):
    app = house.page(enter(login, house.shown), "limits")
    allowed = may(ACCOUNTS[login][0], TRY_LIMITS)
    assert (limits_words.RUN in [one.label for one in app.button]) == allowed
    assert (limits_words.NOT_YOURS in seen(app)) == (not allowed)


def test_every_right_of_the_table_is_tried_here(house, enter):
    boss, rights = enter("boss", house.written).person, {PEOPLE, TRY_LIMITS}
    for action in ACTIONS.values():
        entry = action.make(house, "medical", boss)
        rights |= {entry.kind} | ({OVERRIDE} if entry.body.get("override") else set())
        rights |= {site_right(entry)} if entry.kind == entries.SITE_CHANGE else set()
    assert rights == set(RIGHTS)
