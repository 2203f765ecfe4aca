"""One-time codes and passwords: what is taken, once, and for how long."""

import pytest

from collector.people import codes, manage, signin
from collector.people.accounts import accounts, code_hash, new_code
from collector.people.codes import AccountRefused
from collector.people.passwords import PasswordRefused, check_rule, common, hash_password, is_right
from collector.people.rights import ROLES
from collector.people.signin import SignInRefused
from collector.rules import entries
from tests.collector.people.house import ME, MINUTE, PASSWORD

DAY = 24 * 60 * MINUTE


def first(house, code, password=PASSWORD, login="chief", name="A. Example"):
    return codes.make_first(house.data_dir, code, login, name, password, "10.0.0.7", house.now_ms)


def who(house, token):
    found = signin.who_is(house.data_dir, token, signin.Lifetimes(), house.now_ms)
    return found and (found.login, found.role)


def test_the_first_administrator_needs_the_code_which_works_once(house):
    code = codes.first_code(house.data_dir, ME, house.now_ms)
    with pytest.raises(SignInRefused):
        first(house, new_code())
    with pytest.raises(PasswordRefused):
        first(house, code, "short")
    assert who(house, first(house, code)) == ("chief", "administrator")
    with pytest.raises(SignInRefused):
        first(house, code, login="second")
    with pytest.raises(AccountRefused, match="an administrator already"):
        codes.first_code(house.data_dir, ME, house.now_ms)
    assert [row.body["what"] for row in house.rows(entries.ACCOUNT)] == ["first code made", "first administrator"]


def test_the_first_code_is_void_after_a_day_and_after_a_newer_one(house):
    old = codes.first_code(house.data_dir, ME, house.now_ms)
    code = codes.first_code(house.data_dir, ME, house.now_ms)
    with pytest.raises(SignInRefused):
        first(house, old)
    house.now_ms += DAY
    with pytest.raises(SignInRefused):
        first(house, code)
    with house.book() as book:
        assert accounts(book.conn) == []


def test_guessing_codes_is_slowed_down(house):
    for _ in range(20):
        with pytest.raises(SignInRefused) as refused:
            first(house, new_code())
        assert refused.value.wait_ms == 0
    with pytest.raises(SignInRefused) as refused:
        first(house, codes.first_code(house.data_dir, ME, house.now_ms))
    assert refused.value.wait_ms > 0


def test_a_new_account_sets_its_password_with_its_code(house):
    with house.book() as book:
        _, code = manage.add_account(book, ME, "Nurse", "N. Example", "ward", ["east"])
    typed = code.lower().replace("-", "  ")
    token = codes.set_by_code(house.data_dir, typed, "lamp oil", "10.0.0.7", house.now_ms)
    assert who(house, token) == ("nurse", "ward")
    assert who(house, house.sign_in("nurse", "lamp oil")) == ("nurse", "ward")
    with pytest.raises(SignInRefused):
        codes.set_by_code(house.data_dir, code, "oil lamp", "10.0.0.7", house.now_ms)


def test_changing_a_password_needs_the_old_one_and_ends_other_sessions(house):
    number = house.add().id
    tokens = [house.sign_in(), house.sign_in()]
    with pytest.raises(SignInRefused):
        codes.change_own(house.data_dir, number, "a guess", "four grey herons wait", "10.0.0.7", house.now_ms)
    new = codes.change_own(house.data_dir, number, PASSWORD, "four grey herons wait", "10.0.0.7", house.now_ms)
    assert [who(house, one) for one in (*tokens, new)] == [None, None, ("boss", "administrator")]
    with pytest.raises(SignInRefused):
        house.sign_in()


def test_a_ticket_of_single_sign_on_works_once_within_a_minute(house):
    house.add("nurse", "ward", ["east"], sso="nurse@example.org")
    ticket = codes.sso_ticket(house.data_dir, " Nurse@Example.org", "10.0.0.7", house.now_ms) or ""
    assert who(house, codes.use_ticket(house.data_dir, ticket, "10.0.0.7", house.now_ms)) == ("nurse", "ward")
    late = codes.sso_ticket(house.data_dir, "nurse@example.org", "10.0.0.7", house.now_ms) or ""
    assert ticket
    assert late
    house.now_ms += MINUTE
    for spent in (ticket, late):
        with pytest.raises(SignInRefused):
            codes.use_ticket(house.data_dir, spent, "10.0.0.7", house.now_ms)
    assert codes.sso_ticket(house.data_dir, "stranger@example.org", "10.0.0.7", house.now_ms) is None
    assert codes.sso_ticket(house.data_dir, " ", "10.0.0.7", house.now_ms) is None, "an empty name is nobody's"
    assert len(house.rows(entries.SIGN_IN_REFUSED)) == 2


@pytest.mark.parametrize(
    ("password", "role", "why"),
    [
        ("lamp oi", "ward", "8 characters or more"),
        ("lamp oil", "engineer", "15 characters or more"),
        ("x" * 257, "ward", "256 characters at most"),
        ("Password123", "ward", "first that anybody tries"),
        ("passwordPASSWORD", "engineer", "first that anybody tries"),
        ("pass word pass word", "engineer", "first that anybody tries"),
        ("ababababababababab", "engineer", "first that anybody tries"),
        ("Nora Examplenora example", "ward", "first that anybody tries"),
    ],
)
def test_what_is_no_password(password, role, why):
    with pytest.raises(PasswordRefused, match=why):
        check_rule(password, role, ("nora", "Nora Example"))


@pytest.mark.parametrize("role", ROLES)
def test_no_composition_is_asked_for(role):
    for password in ("only small letters here", "1029 3847 5610 29", "ğüşıöç ğüşıöç lamp", "   spaces count too"):
        assert check_rule(password, role)


def test_the_same_letters_typed_on_two_keyboards_are_the_same_password():
    assert is_right(hash_password(check_rule("caf\u00e9 by the old lake", "engineer")), "cafe\u0301 by the old lake")


def test_an_unreadable_hash_lets_nobody_in():
    assert [is_right(encoded, PASSWORD) for encoded in ("", "$argon2id$", "plain")] == [False] * 3


def test_common_passwords_are_listed_as_they_are_compared():
    assert all(word == "".join(word.casefold().split()) for word in common())
    assert len(common()) > 200


def test_codes_are_easy_to_type():
    code = new_code()
    assert len(code) == 23
    assert not set("01OIUL") & set(code)
    assert code_hash(f" {code.lower()} ") == code_hash(code)
