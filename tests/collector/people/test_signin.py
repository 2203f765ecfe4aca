"""Letting people in: who guesses waits, nobody learns which accounts there are, nobody is kept out for ever."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.people import backoff, manage, passwords, signin
from collector.people.accounts import accounts, sessions
from collector.people.backoff import FIRST_MS, FREE_ACCOUNT, FREE_ADDRESS, MOST_MS, wait_after
from collector.people.signin import REFUSALS_AN_HOUR, SignInRefused
from collector.rules import entries
from tests.collector.people.house import ME, MINUTE, PASSWORD

DOOR = (entries.SIGN_IN, entries.SIGN_OUT, entries.SIGN_IN_REFUSED, entries.SIGN_IN_LOCKED)


@pytest.fixture
def quick(monkeypatch):
    """Hashes that cost nothing, where a test is about counting; every comparison is noted."""
    seen = []

    def is_right(encoded, password):
        seen.append(bool(encoded))
        return bool(encoded) and password == PASSWORD

    monkeypatch.setattr(signin, "is_right", is_right)
    return seen


def guess(house, login="boss", times=1, address="10.0.0.9"):
    """Wrong passwords; the wait that each was answered with."""
    waits = []
    for _ in range(times):
        with pytest.raises(SignInRefused) as refused:
            house.sign_in(login, "a guess", address)
        waits.append(refused.value.wait_ms)
    return waits


def test_the_right_password_opens_a_session_that_is_on_record(house):
    house.add()
    token = house.sign_in(" BOSS ")
    account = signin.who_is(house.data_dir, token, signin.Lifetimes(), house.now_ms)
    assert account is not None
    assert account.login == "boss"
    (row,) = house.rows(entries.SIGN_IN)
    assert (row.who, row.role, row.origin) == ("Boss Example", "administrator", "dashboard 10.0.0.7")
    assert row.body == {"login": "boss", "how": "password"}


@pytest.mark.parametrize("login", ["boss", "nobody", "gone", "fresh"])
def test_all_refusals_are_alike_and_cost_one_hash_each(house, monkeypatch, login):
    """A wrong password, no account, a disabled one, one without a password: same words, same counting, same work."""
    house.add()
    house.add("gone", "engineer")
    house.disable("gone")
    with house.book() as book:
        manage.add_account(book, ME, "fresh", "Fresh Example", "engineer", ())
    hashed, real = [], passwords._HASHER.verify

    class Counting:
        def verify(self, encoded, password):
            hashed.append(encoded.split("$")[1:4])
            return real(encoded, password)

        def hash(self, password):
            raise AssertionError("made once, when the program starts to be asked")

    passwords._nobody()
    monkeypatch.setattr(passwords, "_HASHER", Counting())
    password = PASSWORD if login == "gone" else "a guess"
    with pytest.raises(SignInRefused) as refused:
        house.sign_in(login, password)
    assert (str(refused.value), refused.value.wait_ms) == ("wrong", 0)
    assert hashed == [["argon2id", "v=19", "m=65536,t=3,p=4"]]


def test_a_login_that_is_nobodys_is_not_written_down(house, quick):
    """People type passwords into the field of the login."""
    guess(house, "my secret password")
    (row,) = house.rows(entries.SIGN_IN_REFUSED)
    assert (row.who, row.body, row.origin) == ("", {"reason": "wrong"}, "dashboard 10.0.0.9")


@pytest.mark.parametrize("login", ["boss", "nobody"])
def test_guessing_is_slowed_down_whether_the_account_exists_or_not(house, quick, login):
    house.add()
    assert guess(house, login, FREE_ACCOUNT) == [0] * FREE_ACCOUNT
    assert guess(house, login, 3) == [FIRST_MS] * 3, "what is tried while waiting does not make the wait longer"
    assert len(quick) == FREE_ACCOUNT, "and is not even compared"
    house.now_ms += FIRST_MS
    assert guess(house, login) == [0]
    assert guess(house, login) == [2 * FIRST_MS]


def test_the_right_password_does_not_help_while_waiting_and_does_after(house, quick):
    house.add()
    guess(house, times=FREE_ACCOUNT)
    with pytest.raises(SignInRefused) as refused:
        house.sign_in()
    assert refused.value.wait_ms == FIRST_MS
    house.now_ms += FIRST_MS
    assert house.sign_in()
    assert guess(house, times=FREE_ACCOUNT) == [0] * FREE_ACCOUNT, "whoever signed in begins anew"


def test_an_administrator_is_not_kept_out_by_guesses_from_elsewhere(house, quick):
    """Where the account has signed in before, guesses from other addresses lock nothing."""
    house.add()
    house.sign_in(address="10.0.0.7")
    guess(house, times=FREE_ACCOUNT, address="10.0.0.66")
    assert guess(house, address="10.0.0.66") == [FIRST_MS]
    assert house.sign_in(address="10.0.0.7")


@given(st.integers(0, 10_000), st.integers(1, 50))
def test_no_wait_is_longer_than_a_quarter_of_an_hour(tries, free):
    assert 0 <= wait_after(tries, free) <= MOST_MS
    assert wait_after(tries, free) <= wait_after(tries + 1, free)
    assert (wait_after(tries, free) == 0) == (tries < free)


def test_a_wait_is_never_longer_than_itself_when_the_clock_goes_back(house, quick):
    house.add()
    guess(house, times=FREE_ACCOUNT)
    house.now_ms -= 400 * 24 * 60 * MINUTE
    assert guess(house) == [FIRST_MS]


def test_one_address_is_slowed_down_over_all_accounts(house, quick):
    for n in range(FREE_ADDRESS):
        assert guess(house, f"login-{n}", address="10.0.0.66") == [0]
    assert guess(house, "another", address="10.0.0.66") == [FIRST_MS]
    assert guess(house, "another", address="10.0.0.67") == [0]


def test_an_ipv6_address_is_counted_by_its_network():
    assert backoff.network_of("2001:db8:1:2:aaaa::1") == backoff.network_of("2001:db8:1:2:bbbb::2")
    assert backoff.network_of("2001:db8:1:3::1") != backoff.network_of("2001:db8:1:2::1")
    assert backoff.network_of("this machine") == "this machine"


def test_many_at_once_gain_nothing(house, quick):
    """Tries count before they are compared: five are looked at, however many come in one moment."""
    house.add()
    looked_at = 0
    for _ in range(50):
        with suppress(SignInRefused), house.book() as book:
            signin.count_try(book, "boss", "10.0.0.9")
            looked_at += 1
    assert looked_at == FREE_ACCOUNT
    with house.book() as book:
        (tries,) = book.conn.execute("SELECT tries FROM vain_try WHERE key LIKE 'account:%'").fetchone()
    assert tries == FREE_ACCOUNT


def test_a_lock_is_on_record_and_a_flood_of_refusals_is_cut_short(house, quick):
    house.add()
    guess(house, times=FREE_ACCOUNT)
    (row,) = house.rows(entries.SIGN_IN_LOCKED)
    assert (row.who, row.body) == ("boss", {"of": "account", "minutes": 0.5})
    for n in range(2 * REFUSALS_AN_HOUR):
        guess(house, "x", address=f"10.1.{n}.1")
        with house.book() as book:
            backoff.forget(book.conn, "x")
    refused = house.rows(entries.SIGN_IN_REFUSED)
    assert len(refused) == REFUSALS_AN_HOUR
    assert "not written down" in refused[-1].body["more"]


def test_unlocking_lets_somebody_try_at_once(house, quick):
    house.add()
    guess(house, times=FREE_ACCOUNT)
    with house.book() as book:
        manage.unlock_account(book, ME, "boss")
    assert house.sign_in(address="10.0.0.9")


def test_signing_out_everywhere_ends_every_session_of_that_account_only(house, quick):
    house.add()
    house.add("other", "engineer")
    tokens = [house.sign_in(), house.sign_in(address="10.0.0.8")]
    theirs = house.sign_in("other")
    signin.sign_out(house.data_dir, tokens[0], "10.0.0.7", house.now_ms, everywhere=True)
    held = [signin.who_is(house.data_dir, one, signin.Lifetimes(), house.now_ms) for one in (*tokens, theirs)]
    assert [one and one.login for one in held] == [None, None, "other"]


def test_no_secret_is_in_the_store_or_in_the_journal(house):
    house.add()
    token = house.sign_in()
    guess(house)
    with house.book() as book:
        _, code = manage.add_account(book, ME, "fresh", "Fresh Example", "engineer", ())
        _, wall = manage.add_wall_link(book, ME, "east", "desk")
        assert [one.password[:10] for one in accounts(book.conn) if one.password] == ["$argon2id$"]
        assert len(sessions(book.conn)) == 1
    stored = b"".join(path.read_bytes() for path in sorted(house.data_dir.iterdir()) if path.is_file())
    assert b"Boss Example" in stored
    for secret in (token, code, code.replace("-", ""), wall, PASSWORD, "a guess"):
        assert secret.encode() not in stored
