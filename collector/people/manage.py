"""What an administrator does to accounts, sessions and wall links, on a page or by command; each is a journal row.

Rules of this file: `By` was checked by the caller (`as_administrator` on the dashboard; on the command line whoever may
write the store's file). The last administrator who can sign in is neither disabled nor made something else.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import msgspec

from collector.people import backoff, codes
from collector.people.accounts import (
    Account,
    WallLink,
    account_by,
    accounts,
    end_sessions,
    hash_of,
    insert_account,
    login_of,
    new_token,
    sessions,
    update_account,
    wall_link_of,
    wall_links,
)
from collector.people.book import Book, By, reading, writing
from collector.people.codes import AccountRefused
from collector.people.passwords import check_rule, hash_password
from collector.people.rights import ADMINISTRATOR, PEOPLE, ROLES, WARD, NotAllowed, may
from collector.people.signin import Lifetimes, signed_in
from collector.rules import entries

AdministratorsBook = AbstractContextManager[tuple[Book, By]]


@contextmanager
def as_administrator(
    data_dir: Path, token: str, address: str, lasts: Lifetimes, now_ms: int | None = None
) -> Iterator[tuple[Book, By]]:  # fmt: skip
    """A transaction of somebody who may change accounts; NotAllowed otherwise, and then nothing is stored."""
    with writing(data_dir, now_ms) as book:
        found = signed_in(book, token, lasts)
        if found is None or not may(found[0].role, PEOPLE):
            raise NotAllowed("This is for administrators who are signed in. Sign in again, or ask one of them.")
        yield book, By(found[0].name, found[0].role, f"dashboard {address}")


def add_account(
    book: Book, by: By, login: str, name: str, role: str, wards: Collection[str], sso: str = ""
) -> tuple[Account, str]:  # fmt: skip
    """A new account and the code with which its person sets a password; AccountRefused."""
    login, name = login_of(login), " ".join(name.split())[:60]
    if not login or not name:
        raise AccountRefused("An account has a login, and a name that stands in the record.")
    if account_by(book.conn, "login", login) is not None:
        raise AccountRefused(f"There is an account '{login}' already. Choose another login.")
    listed = _checked(book, role, wards, sso, login)
    made = insert_account(
        book.conn, Account(0, login, name, role, listed, "", sso.strip().casefold(), False, book.now_ms)
    )
    _note(book, by, made, "added", role=role, wards=list(listed), sso=bool(sso))
    return made, codes.make_code(book, codes.PASSWORD, made)


def change_account(
    book: Book, by: By, login: str, *, name: str | None = None, role: str | None = None,
    wards: Collection[str] | None = None, sso: str | None = None,
) -> Account:  # fmt: skip
    """Change what is given; sessions go on with what is new."""
    old = _known(book, login)
    new_role = old.role if role is None else role
    new_sso = old.sso if sso is None else sso.strip().casefold()
    listed = _checked(book, new_role, old.wards if wards is None else wards, new_sso, old.login)
    if old.role == ADMINISTRATOR != new_role:
        _refuse_last(book, old)
    new = msgspec.structs.replace(old, name=name or old.name, role=new_role, wards=listed, sso=new_sso)
    update_account(book.conn, new)
    _note(book, by, new, "changed", name=new.name, role=new.role, wards=list(new.wards), sso=bool(new.sso))
    return new


def disable_account(book: Book, by: By, login: str) -> None:
    """Nobody signs in with it any more, and its sessions end."""
    account = _known(book, login)
    _refuse_last(book, account)
    update_account(book.conn, msgspec.structs.replace(account, disabled=True))
    end_sessions(book.conn, sessions(book.conn, account.id), book.now_ms)
    _note(book, by, account, "disabled")


def enable_account(book: Book, by: By, login: str) -> None:
    """It may be used again, with the password it had."""
    account = _known(book, login)
    update_account(book.conn, msgspec.structs.replace(account, disabled=False))
    _note(book, by, account, "enabled")


def unlock_account(book: Book, by: By, login: str) -> None:
    """Forget vain tries of this account, and those of every address."""
    account = _known(book, login)
    backoff.forget(book.conn, account.login)
    book.conn.execute("DELETE FROM vain_try WHERE key LIKE 'address:%'")
    _note(book, by, account, "unlocked")


def password_code(book: Book, by: By, login: str) -> str:
    """A code with which somebody sets a new password; the old one holds until then."""
    account = _known(book, login)
    _note(book, by, account, "code for a new password made")
    return codes.make_code(book, codes.PASSWORD, account)


def set_password(data_dir: Path, by: By, login: str, password: str) -> None:
    """Give an account a password, from the command line; its sessions end. AccountRefused, PasswordRefused."""
    with reading(data_dir) as book:
        account = _known(book, login)
    encoded = hash_password(check_rule(password, account.role, (account.login, account.name)))
    with writing(data_dir) as book:
        account = _known(book, login)
        update_account(book.conn, msgspec.structs.replace(account, password=encoded))
        end_sessions(book.conn, sessions(book.conn, account.id), book.now_ms)
        _note(book, by, account, "password set")


def end_session(book: Book, by: By, number: int) -> None:
    """End one session, by its number."""
    for session in sessions(book.conn):
        if session.id == number:
            account = account_by(book.conn, "id", session.account_id)
            end_sessions(book.conn, [session], book.now_ms)
            body = {"login": account.login if account else "", "why": "ended by an administrator"}
            book.note(entries.SIGN_OUT, by, body)


def add_wall_link(book: Book, by: By, ward: str, place: str) -> tuple[WallLink, str]:
    """A link for one ward's board; returns its token too, which is shown once and never again."""
    site = book.site()
    if site is None or ward not in {one.id for one in site.wards}:
        raise AccountRefused(f"There is no ward '{ward}' in the site file. Choose one, or add it there.")
    token, place = new_token(), " ".join(place.split())[:60]
    book.conn.execute(
        "INSERT INTO wall_link (token_hash, ward, place, made_ms, made_by) VALUES (?,?,?,?,?)",
        (hash_of(token), ward, place, book.now_ms, by.who),
    )
    link = wall_link_of(book.conn, token)
    if link is None:
        raise RuntimeError("a link that was just written is not there")
    book.note(entries.WALL_LINK, by, {"link": link.id, "place": place, "what": "made"}, ward)
    return link, token


def withdraw_wall_link(book: Book, by: By, number: int) -> WallLink:
    """The link shows nothing any more; AccountRefused when there is none, or it was withdrawn already."""
    link = next((one for one in wall_links(book.conn) if one.id == number), None)
    if link is None or link.withdrawn_ms is not None:
        raise AccountRefused(f"There is no link {number} that could be withdrawn.")
    book.conn.execute("UPDATE wall_link SET withdrawn_ms = ? WHERE id = ?", (book.now_ms, number))
    book.note(entries.WALL_LINK, by, {"link": number, "place": link.place, "what": "withdrawn"}, link.ward)
    return link


def _known(book: Book, login: str) -> Account:
    account = account_by(book.conn, "login", login_of(login))
    if account is None:
        raise AccountRefused(f"There is no account '{login_of(login)}'; 'sieveward user list' names them.")
    return account


def _checked(book: Book, role: str, wards: Collection[str], sso: str, login: str) -> tuple[str, ...]:
    """The wards, in order; AccountRefused when role, wards or sso cannot be."""
    if role not in ROLES:
        raise AccountRefused(f"There is no role '{role}': {', '.join(ROLES)}.")
    site = book.site()
    strange = sorted(set(wards) - {ward.id for ward in site.wards}) if site is not None else []
    if strange:
        raise AccountRefused(f"The site file has no ward '{strange[0]}'. Name one of it, or add it there.")
    if role == WARD and not wards:
        raise AccountRefused("An account of the role ward acts in its wards: name one or more.")
    other = account_by(book.conn, "sso", sso.strip().casefold()) if sso.strip() else None
    if other is not None and other.login != login:
        raise AccountRefused(f"Account '{other.login}' has this name at the single sign-on already.")
    return tuple(sorted(set(wards)))


def _refuse_last(book: Book, account: Account) -> None:
    others = [one for one in accounts(book.conn) if one.role == ADMINISTRATOR and one.id != account.id]
    if account.role == ADMINISTRATOR and not account.disabled and not any(
        (one.password or one.sso) and not one.disabled for one in others
    ):  # fmt: skip
        raise AccountRefused("This is the last administrator who can sign in. Add another one first.")


def _note(book: Book, by: By, account: Account, what: str, **body: Any) -> None:  # noqa: ANN401 - JSON
    book.note(entries.ACCOUNT, by, {"login": account.login, "what": what, **body})
