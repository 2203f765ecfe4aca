"""Accounts, sessions, one-time codes and wall links as rows of the store.

Rules of this file: it reads and writes inside the caller's transaction, and decides nothing. A secret that a person or
a screen carries (token, code) has 100 bits or more by chance, so its SHA-256 is kept and nothing slower is needed.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import sqlite3
from typing import Final

import msgspec

#: Letters and digits that nobody mistakes for each other when they are read aloud.
_CLEAR: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
_ACCOUNT: Final = "SELECT id, login, name, role, wards, password, sso, disabled, made_ms FROM account"
_SESSION: Final = "SELECT id, account_id, made_ms, seen_ms, address, how, ended_ms FROM session"
_LINK: Final = "SELECT id, ward, place, made_ms, made_by, withdrawn_ms FROM wall_link"


class Account(msgspec.Struct, frozen=True):
    """Somebody who may sign in; wards: where they act (empty: everywhere); password: a hash, "" when none is set."""

    id: int
    login: str
    name: str
    role: str
    wards: tuple[str, ...]
    password: str
    sso: str
    disabled: bool
    made_ms: int


class Session(msgspec.Struct, frozen=True):
    """One sign-in on one device, on the machine's clock; ended_ms is None while it is open."""

    id: int
    account_id: int
    made_ms: int
    seen_ms: int
    address: str
    how: str
    ended_ms: int | None


class WallLink(msgspec.Struct, frozen=True):
    """A link that shows one ward's board and nothing else; `place` says on which screen."""

    id: int
    ward: str
    place: str
    made_ms: int
    made_by: str
    withdrawn_ms: int | None


def login_of(text: str) -> str:
    """A login as it is kept: without spaces around it, in small letters."""
    return text.strip().casefold()[:60]


def new_token() -> str:
    """A secret for a cookie or a link: 256 bits."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """A secret that a person types once: 98 bits, in four groups."""
    return "-".join("".join(secrets.choice(_CLEAR) for _ in range(5)) for _ in range(4))


def hash_of(secret: str) -> str:
    """What is kept of a token or a code."""
    return hashlib.sha256(secret.encode()).hexdigest()


def code_hash(typed: str) -> str:
    """What is kept of a code, however its groups and letters were typed."""
    return hash_of("".join(one for one in typed.upper() if one.isalnum()))


def accounts(conn: sqlite3.Connection) -> list[Account]:
    """All of them, by login."""
    return [_account(row) for row in conn.execute(f"{_ACCOUNT} ORDER BY login")]


def account_by(conn: sqlite3.Connection, column: str, value: str | int) -> Account | None:
    """The account with this id, login or sso."""
    if column not in ("id", "login", "sso"):
        raise ValueError(column)
    row = conn.execute(f"{_ACCOUNT} WHERE {column} = ?", (value,)).fetchone()
    return None if row is None else _account(row)


def _account(row: tuple[int, str, str, str, str, str, str, int, int]) -> Account:
    number, login, name, role, wards, password, sso, disabled, made_ms = row
    return Account(number, login, name, role, tuple(json.loads(wards)), password, sso, bool(disabled), made_ms)


def insert_account(conn: sqlite3.Connection, one: Account) -> Account:
    """Add an account (its id is made); sqlite3.IntegrityError when the login is taken."""
    values = (one.login, one.name, one.role, json.dumps(one.wards), one.password, one.sso, one.disabled, one.made_ms)
    made = conn.execute(
        "INSERT INTO account (login, name, role, wards, password, sso, disabled, made_ms) VALUES (?,?,?,?,?,?,?,?)",
        values,
    )
    return msgspec.structs.replace(one, id=made.lastrowid)


def update_account(conn: sqlite3.Connection, one: Account) -> None:
    """Write an account as it is now."""
    conn.execute(
        "UPDATE account SET name = ?, role = ?, wards = ?, password = ?, sso = ?, disabled = ? WHERE id = ?",
        (one.name, one.role, json.dumps(one.wards), one.password, one.sso, one.disabled, one.id),
    )


def insert_session(conn: sqlite3.Connection, token: str, account: Account, now_ms: int, address: str, how: str) -> None:
    """Add a session that begins now."""
    conn.execute(
        "INSERT INTO session (token_hash, account_id, made_ms, seen_ms, address, how) VALUES (?,?,?,?,?,?)",
        (hash_of(token), account.id, now_ms, now_ms, address, how),
    )


def session_of(conn: sqlite3.Connection, token: str) -> Session | None:
    """The session with this token, ended or not."""
    row = conn.execute(f"{_SESSION} WHERE token_hash = ?", (hash_of(token),)).fetchone()
    return None if row is None else Session(*row)


def sessions(conn: sqlite3.Connection, account_id: int | None = None) -> list[Session]:
    """Sessions that nobody has ended, of one account or of all, the newest first."""
    of = "" if account_id is None else " AND account_id = ?"
    values = () if account_id is None else (account_id,)
    rows = conn.execute(f"{_SESSION} WHERE ended_ms IS NULL{of} ORDER BY made_ms DESC", values)
    return [Session(*row) for row in rows]


def end_sessions(conn: sqlite3.Connection, found: list[Session], now_ms: int) -> None:
    """Mark sessions as ended."""
    conn.executemany("UPDATE session SET ended_ms = ? WHERE id = ?", [(now_ms, one.id) for one in found])


def wall_links(conn: sqlite3.Connection) -> list[WallLink]:
    """All of them, the newest first."""
    return [WallLink(*row) for row in conn.execute(f"{_LINK} ORDER BY made_ms DESC, id DESC")]


def wall_link_of(conn: sqlite3.Connection, token: str) -> WallLink | None:
    """The link with this token, withdrawn or not."""
    row = conn.execute(f"{_LINK} WHERE token_hash = ?", (hash_of(token),)).fetchone()
    return None if row is None else WallLink(*row)
