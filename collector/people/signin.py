"""Signing in and out, and whether a session still holds.

Rules of this file: whoever is refused learns nothing but that it did not work, or for how long to wait; an account that
does not exist, is disabled or has no password costs the same time and gets the same answer. A session ends when it was
not used for `idle_ms`, `whole_ms` after the sign-in, with its account, or by hand; the store holds its token's hash.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import msgspec

from collector.people import backoff
from collector.people.accounts import (
    Account,
    Session,
    account_by,
    end_sessions,
    insert_session,
    login_of,
    new_token,
    session_of,
    sessions,
)
from collector.people.backoff import Key
from collector.people.book import Book, By, reading, writing
from collector.people.passwords import is_right
from collector.rules import entries

BY_PASSWORD: Final = "password"  # noqa: S105 - a word for the record
#: How often a session's use is written down at most.
SEEN_EVERY_MS: Final = 60_000
#: A session made so far ahead of the clock is none: the clock went back, and its end cannot be told.
AHEAD_MS: Final = 5 * 60_000
HOUR_MS: Final = 3_600_000
#: Refusals that are written down in an hour; the last of them says that there may be more. The journal is for ever.
REFUSALS_AN_HOUR: Final = 60


class Lifetimes(msgspec.Struct, frozen=True):
    """How long a session lasts unused, and at most (a shift)."""

    idle_ms: int = HOUR_MS
    whole_ms: int = 12 * HOUR_MS


class SignInRefused(Exception):
    """Nobody was let in. wait_ms: how long to wait before trying again; 0 when the login or password is wrong."""

    def __init__(self, wait_ms: int = 0) -> None:
        super().__init__(f"wait {wait_ms} ms" if wait_ms else "wrong")
        self.wait_ms = wait_ms


def lifetimes() -> Lifetimes:
    """As the environment of the dashboard says (see launch.py)."""
    default = Lifetimes()
    idle, whole = os.environ.get("SIEVEWARD_IDLE_MIN"), os.environ.get("SIEVEWARD_SESSION_H")
    return Lifetimes(int(float(idle) * 60_000) if idle else default.idle_ms,
                     int(float(whole) * HOUR_MS) if whole else default.whole_ms)  # fmt: skip


def sign_in(data_dir: Path, login: str, password: str, address: str, now_ms: int | None = None) -> str:
    """Let somebody in by password; returns the session's token. SignInRefused, StoreError."""
    login = login_of(login)
    with writing(data_dir, now_ms) as book:
        keys, account = count_try(book, login, address)
    usable = account is not None and not account.disabled
    right = is_right(account.password if account is not None and usable else "", password)
    with writing(data_dir, now_ms) as book:
        known = account_by(book.conn, "login", login)  # once more: it may have been changed while the hash was made
        if right and known is not None and known == account:
            for_account, for_address = keys
            book.conn.execute("DELETE FROM vain_try WHERE key = ?", (for_account.name,))
            backoff.take_back(book.conn, for_address)
            return begin(book, known, address, BY_PASSWORD)
        refuse(book, keys, login if known else "", address, "disabled" if known and known.disabled else "wrong")
    raise SignInRefused


def count_try(book: Book, login: str, address: str) -> tuple[tuple[Key, Key], Account | None]:
    """Count a try before it is judged; SignInRefused while its account or address has to wait."""
    keys = backoff.keys_of(book.conn, login, address, book.now_ms)
    if wait_ms := max(backoff.waits_ms(book.conn, key, book.now_ms) for key in keys):
        raise SignInRefused(wait_ms)
    for key in keys:
        backoff.count(book.conn, key, book.now_ms)
    return keys, account_by(book.conn, "login", login)


def refuse(book: Book, keys: tuple[Key, ...], login: str, address: str, reason: str) -> None:
    """Write a vain try down, and what is locked by it; `login` only if it is an account's: people err in the field."""
    by = By(login, "", f"dashboard {address}")
    hour = Key(f"refusals:{book.now_ms // HOUR_MS}", REFUSALS_AN_HOUR)
    if (told := backoff.count(book.conn, hour, book.now_ms)) > REFUSALS_AN_HOUR:
        return
    more = {"more": "those of this hour after this one are not written down"} if told == REFUSALS_AN_HOUR else {}
    book.note(entries.SIGN_IN_REFUSED, by, {"reason": reason} | more)
    for key in keys:
        if wait_ms := backoff.waits_ms(book.conn, key, book.now_ms):
            book.note(entries.SIGN_IN_LOCKED, by, {"of": key.what, "minutes": wait_ms / 60_000})


def begin(book: Book, account: Account, address: str, how: str) -> str:
    """Open a session for somebody whose right to it was shown; returns its token."""
    token = new_token()
    insert_session(book.conn, token, account, book.now_ms, address, how)
    book.conn.execute("DELETE FROM session WHERE made_ms < ?", (book.now_ms - 2 * backoff.KNOWN_MS,))
    book.note(entries.SIGN_IN, By(account.name, account.role, f"dashboard {address}"),
              {"login": account.login, "how": how})  # fmt: skip
    return token


def holds(session: Session, lasts: Lifetimes, now_ms: int) -> bool:
    """Whether a session may still be used."""
    if session.ended_ms is not None or session.made_ms > now_ms + AHEAD_MS:
        return False
    return now_ms - session.seen_ms < lasts.idle_ms and now_ms - session.made_ms < lasts.whole_ms


def signed_in(book: Book, token: str, lasts: Lifetimes) -> tuple[Account, Session] | None:
    """Whose session this is; None when it does not hold, or its account is no more."""
    session = session_of(book.conn, token) if token else None
    if session is None or not holds(session, lasts, book.now_ms):
        return None
    account = account_by(book.conn, "id", session.account_id)
    return None if account is None or account.disabled else (account, session)


def who_is(
    data_dir: Path, token: str, lasts: Lifetimes, now_ms: int | None = None, *, used: bool = False
) -> Account | None:  # fmt: skip
    """The account of a session that holds; `used`: a person has just done something, which keeps it alive."""
    with reading(data_dir, now_ms) as book:
        found = signed_in(book, token, lasts)
    if found is None:
        return None
    if used:
        touch(data_dir, found[1], book.now_ms)
    return found[0]


def touch(data_dir: Path, session: Session, now_ms: int) -> None:
    """A person has just done something, which keeps their session alive; written down once a minute at most."""
    if now_ms - session.seen_ms >= SEEN_EVERY_MS:
        with writing(data_dir, now_ms) as book:
            book.conn.execute("UPDATE session SET seen_ms = ? WHERE id = ?", (book.now_ms, session.id))


def sign_out(
    data_dir: Path, token: str, address: str, now_ms: int | None = None, *, everywhere: bool = False
) -> None:  # fmt: skip
    """End the session with this token, or all of its account's."""
    with writing(data_dir, now_ms) as book:
        session = session_of(book.conn, token) if token else None
        account = account_by(book.conn, "id", session.account_id) if session else None
        if session is None or account is None or session.ended_ms is not None:
            return
        end_sessions(book.conn, sessions(book.conn, account.id) if everywhere else [session], book.now_ms)
        book.note(entries.SIGN_OUT, By(account.name, account.role, f"dashboard {address}"),
                  {"login": account.login, "why": "everywhere" if everywhere else "by hand"})  # fmt: skip
