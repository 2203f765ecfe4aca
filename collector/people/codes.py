"""One-time codes: the first administrator's, one to set a password with, and the ticket of a single sign-on.

Rules of this file: a code works once and for a limited time; a new one for the same purpose ends the one before. There
is no password that comes with the program: whoever can run a command on the machine makes the first code.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec

from collector.people import backoff
from collector.people.accounts import (
    Account,
    account_by,
    accounts,
    code_hash,
    end_sessions,
    insert_account,
    login_of,
    new_code,
    sessions,
    update_account,
)
from collector.people.backoff import DAY_MS, MINUTE_MS, Key
from collector.people.book import Book, By, reading, writing
from collector.people.passwords import check_rule, hash_password, is_right
from collector.people.rights import ADMINISTRATOR
from collector.people.signin import BY_PASSWORD, SignInRefused, begin, refuse
from collector.rules import entries

FIRST: Final = "first"
PASSWORD: Final = "password"  # noqa: S105 - a purpose
TICKET: Final = "ticket"
LASTS_MS: Final[dict[str, int]] = {FIRST: DAY_MS, PASSWORD: 3 * DAY_MS, TICKET: MINUTE_MS}
BY_SSO: Final = "single sign-on"
BY_CODE: Final = "code"


class AccountRefused(Exception):
    """An account is not made or changed; the text says why, and the way out."""


def make_code(book: Book, purpose: str, account: Account | None = None) -> str:
    """A new code; the one before it for the same purpose and account is void."""
    code, number = new_code(), None if account is None else account.id
    book.conn.execute("DELETE FROM one_time_code WHERE until_ms < ? OR (purpose = ? AND account_id IS ?)",
                      (book.now_ms, purpose, number))  # fmt: skip
    book.conn.execute("INSERT INTO one_time_code VALUES (?, ?, ?, ?)",
                      (code_hash(code), purpose, number, book.now_ms + LASTS_MS[purpose]))  # fmt: skip
    return code


def find_code(book: Book, purpose: str, typed: str) -> tuple[str, int | None] | None:
    """Hash and account of a code that is good now; None when it is not."""
    row = book.conn.execute(
        "SELECT code_hash, account_id, until_ms FROM one_time_code WHERE code_hash = ? AND purpose = ?",
        (code_hash(typed), purpose),
    ).fetchone()
    good = row is not None and 0 < row[2] - book.now_ms <= LASTS_MS[purpose]
    return (row[0], row[1]) if good else None


def spend(book: Book, found: tuple[str, int | None]) -> None:
    """A code that was used is void."""
    book.conn.execute("DELETE FROM one_time_code WHERE code_hash = ?", (found[0],))


def first_code(data_dir: Path, by: By, now_ms: int | None = None) -> str:
    """The code that makes the first administrator; AccountRefused when there is one already."""
    with writing(data_dir, now_ms) as book:
        if any(one.role == ADMINISTRATOR and not one.disabled for one in accounts(book.conn)):
            raise AccountRefused("There is an administrator already. 'sieveward user list' names them; 'sieveward user "
                                 "password LOGIN' gives one a new password.")  # fmt: skip
        code = make_code(book, FIRST)
        book.note(entries.ACCOUNT, by, {"login": "", "what": "first code made"})
        return code


def make_first(
    data_dir: Path, code: str, login: str, name: str, password: str, address: str, now_ms: int | None = None
) -> str:  # fmt: skip
    """The first administrator signs up; returns a session's token. SignInRefused, PasswordRefused, AccountRefused."""
    key, login, name = _address_key(address), login_of(login), " ".join(name.split())[:60]
    _spent_or_refused(data_dir, FIRST, code, key, now_ms)
    if not login or not name:
        raise AccountRefused("Write a login, and the name that stands in the record.")
    password = check_rule(password, ADMINISTRATOR, (login, name))
    encoded = hash_password(password)
    with writing(data_dir, now_ms) as book:
        if (found := find_code(book, FIRST, code)) is None:
            raise SignInRefused
        if account_by(book.conn, "login", login) is not None:
            raise AccountRefused("There is an account with this login. Choose another login.")
        spend(book, found)
        account = insert_account(book.conn, Account(0, login, name, ADMINISTRATOR, (), encoded, "", False, book.now_ms))
        book.note(entries.ACCOUNT, By(name, ADMINISTRATOR, f"dashboard {address}"),
                  {"login": login, "what": "first administrator", "role": ADMINISTRATOR})  # fmt: skip
        return begin(book, account, address, BY_CODE)


def set_by_code(data_dir: Path, code: str, password: str, address: str, now_ms: int | None = None) -> str:
    """Somebody sets their password with a code; returns a session's token. SignInRefused, PasswordRefused."""
    account = _spent_or_refused(data_dir, PASSWORD, code, _address_key(address), now_ms)
    if account is None or account.disabled:
        raise SignInRefused
    encoded = hash_password(check_rule(password, account.role, (account.login, account.name)))
    with writing(data_dir, now_ms) as book:
        if (found := find_code(book, PASSWORD, code)) is None:
            raise SignInRefused
        spend(book, found)
        return _set(book, account, encoded, address, BY_CODE)


def change_own(data_dir: Path, account_id: int, old: str, new: str, address: str, now_ms: int | None = None) -> str:
    """Somebody changes their password; every session of theirs ends and a new one begins: its token."""
    with writing(data_dir, now_ms) as book:
        account = account_by(book.conn, "id", account_id)
        key = Key(f"account:{account.login if account else ''}@change", backoff.FREE_ACCOUNT)
        _count_or_refuse(book, key)
    if account is None or account.disabled or not is_right(account.password, old):
        raise SignInRefused
    encoded = hash_password(check_rule(new, account.role, (account.login, account.name)))
    with writing(data_dir, now_ms) as book:
        backoff.forget(book.conn, account.login)
        return _set(book, account, encoded, address, BY_PASSWORD)


def sso_ticket(data_dir: Path, subject: str, address: str, now_ms: int | None = None) -> str | None:
    """A ticket for whom an identity provider vouched for; None (written down) when no account has this name."""
    with writing(data_dir, now_ms) as book:
        account = account_by(book.conn, "sso", subject.strip().casefold()) if subject.strip() else None
        if account is None or account.disabled:
            refuse(book, (), account.login if account else "", address, "no account for this single sign-on")
            return None
        return make_code(book, TICKET, account)


def use_ticket(data_dir: Path, ticket: str, address: str, now_ms: int | None = None) -> str:
    """Exchange a ticket for a session's token; SignInRefused."""
    with writing(data_dir, now_ms) as book:
        found = find_code(book, TICKET, ticket)
        account = account_by(book.conn, "id", found[1]) if found and found[1] else None
        if found is None or account is None or account.disabled:
            raise SignInRefused
        spend(book, found)
        return begin(book, account, address, BY_SSO)


def awaits_first(data_dir: Path) -> bool:
    """Whether there is no account yet."""
    with reading(data_dir) as book:
        return not accounts(book.conn)


def _set(book: Book, account: Account, encoded: str, address: str, how: str) -> str:
    changed = msgspec.structs.replace(account, password=encoded)
    update_account(book.conn, changed)
    end_sessions(book.conn, sessions(book.conn, account.id), book.now_ms)
    book.note(entries.ACCOUNT, By(account.name, account.role, f"dashboard {address}"),
              {"login": account.login, "what": "password set"})  # fmt: skip
    return begin(book, changed, address, how)


def _address_key(address: str) -> Key:
    return Key(f"address:{backoff.network_of(address)}", backoff.FREE_ADDRESS)


def _count_or_refuse(book: Book, key: Key) -> None:
    if wait_ms := backoff.waits_ms(book.conn, key, book.now_ms):
        raise SignInRefused(wait_ms)
    backoff.count(book.conn, key, book.now_ms)


def _spent_or_refused(data_dir: Path, purpose: str, code: str, key: Key, now_ms: int | None) -> Account | None:
    """Count a try with a code and look it up; SignInRefused when it is not good. It is not spent yet."""
    with writing(data_dir, now_ms) as book:
        _count_or_refuse(book, key)
        if (found := find_code(book, purpose, code)) is not None:
            backoff.take_back(book.conn, key)
            return account_by(book.conn, "id", found[1]) if found[1] else None
        refuse(book, (key,), "", key.name.partition(":")[2], "wrong or old code")
    raise SignInRefused
