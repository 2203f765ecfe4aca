"""What administrators change: on record, checked against the site file, and never so that nobody is left."""

import pytest

from collector.people import manage
from collector.people.accounts import account_by, wall_link_of, wall_links
from collector.people.codes import AccountRefused
from collector.rules import entries
from tests.collector.people.house import ME


def change(house, work, *args, **kwargs):
    with house.book() as book:
        return work(book, ME, *args, **kwargs)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (("boss", "B", "engineer", ()), "an account 'boss' already"),
        (("", "B", "engineer", ()), "has a login"),
        (("b", " ", "engineer", ()), "a name that stands in the record"),
        (("b", "B", "chief", ()), "no role 'chief'"),
        (("b", "B", "ward", ()), "name one or more"),
        (("b", "B", "ward", ("north",)), "no ward 'north'"),
        (("b", "B", "engineer", (), "Boss@example.org"), "Account 'boss' has this name"),
    ],
)
def test_an_account_that_cannot_be_is_refused_with_the_way_out(house, given, why):
    house.add(sso="boss@example.org")
    before = house.rows()
    with pytest.raises(AccountRefused, match=why):
        change(house, manage.add_account, *given)
    assert house.rows() == before


def test_each_change_is_a_row_with_what_is_new(house):
    house.add()
    change(house, manage.add_account, "nurse", "N. Example", "ward", ["west", "east"])
    change(house, manage.change_account, "nurse", role="engineer", wards=[])
    change(house, manage.disable_account, "nurse")
    change(house, manage.enable_account, "nurse")
    rows = house.rows(entries.ACCOUNT)
    assert {(row.who, row.origin, row.body["login"]) for row in rows} == {("test", "test", "nurse")}
    assert [row.body["what"] for row in rows] == ["added", "changed", "disabled", "enabled"]
    assert (rows[0].body["wards"], rows[1].body["role"], rows[1].body["wards"]) == (["east", "west"], "engineer", [])


@pytest.mark.parametrize(
    "work",
    [
        lambda book, by: manage.disable_account(book, by, "boss"),
        lambda book, by: manage.change_account(book, by, "boss", role="engineer"),
    ],
)
def test_the_last_administrator_stays_until_there_is_another(house, work):
    house.add()
    change(house, manage.add_account, "second", "S. Example", "administrator", ())
    with pytest.raises(AccountRefused, match="last administrator"):
        change(house, work)
    house.add("third")
    change(house, work)
    with house.book() as book:
        boss = account_by(book.conn, "login", "boss")
    assert boss is not None
    assert boss.disabled or boss.role == "engineer"


def test_a_wall_link_is_made_for_a_ward_there_is_and_withdrawn_once(house):
    with pytest.raises(AccountRefused, match="no ward 'north'"):
        change(house, manage.add_wall_link, "north", "desk")
    link, token = change(house, manage.add_wall_link, "east", " above  the desk ")
    other, _ = change(house, manage.add_wall_link, "west", "")
    assert (link.ward, link.place, link.withdrawn_ms) == ("east", "above the desk", None)
    change(house, manage.withdraw_wall_link, link.id)
    with pytest.raises(AccountRefused, match=f"no link {link.id}"):
        change(house, manage.withdraw_wall_link, link.id)
    with house.book() as book:
        found, gone = wall_link_of(book.conn, token), {one.id: one.withdrawn_ms for one in wall_links(book.conn)}
        assert wall_link_of(book.conn, "guessed") is None
    assert found is not None
    assert found.withdrawn_ms == house.now_ms
    assert gone == {link.id: house.now_ms, other.id: None}
    rows = house.rows(entries.WALL_LINK)
    assert [(row.ward, row.body["what"]) for row in rows] == [("east", "made"), ("west", "made"), ("east", "withdrawn")]
    assert token not in str(rows)
