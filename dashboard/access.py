"""Who looks at a screen and may act on it: the session of a cookie, a wall screen's link, or an open simulation.

Rules of this file: asked anew at every run, so that what ended in the store ends on the screen within seconds. What a
cookie or an address says is a secret to be looked up, never a name to be believed. When the store cannot be asked,
nobody is signed in.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Final, NamedTuple

import streamlit as st

from collector.people import acts, signin
from collector.people.accounts import Account, Session, WallLink, wall_link_of
from collector.people.book import Book, has_accounts, is_open, reading
from collector.people.rights import NotAllowed
from collector.rules.entries import JournalEntry, JournalRow
from collector.store import StoreError
from collector.store.history import facility_id
from dashboard.actions import Person, Refused
from dashboard.launch import data_dir

#: Cookies know no ports: without the facility's name two dashboards on one machine would sign each other out.
COOKIE: Final = "sw-session-"
#: The browser takes a cookie of this name over TLS only, and lets no other host set it.
SECURE: Final = "__Host-"
_HERE: Final = "this machine"
_OPENED: Final = "sw-opened"


class Door(StrEnum):
    """How a screen was opened."""

    OPEN = "open"
    SIGNED_IN = "signed in"
    SIGNED_OUT = "signed out"
    FIRST = "first"
    WALL = "wall"
    WALL_WITHDRAWN = "wall withdrawn"
    WALL_UNKNOWN = "wall unknown"
    NO_STORE = "no store"


class Access(NamedTuple):
    """What this screen may show: an account when somebody is signed in, a link on a wall screen."""

    door: Door
    account: Account | None = None
    link: WallLink | None = None


def cookies() -> Mapping[str, str]:
    """The cookies with which this screen's connection was opened."""
    return dict(st.context.cookies)


def token() -> str:
    """The session's token of this device, "" when it has none or the store cannot be asked."""
    try:
        with reading(data_dir()) as book:
            return _token(book)
    except StoreError:
        return ""


def _token(book: Book) -> str:
    found, name = cookies(), COOKIE + facility_id(book.conn)
    return str(found.get(SECURE + name) or found.get(name) or "")


def address() -> str:
    """Where this screen is, as far as the connection shows; a proxy's word only if it was named (launch.py)."""
    where = st.context.ip_address
    return where if isinstance(where, str) else _HERE


def access(*, used: bool = False) -> Access:
    """How this screen was opened, as of now; `used`: a person has just asked for something."""
    try:
        with reading(data_dir()) as book:
            found, session = _asked(book, st.query_params.get("wall"))
        if used and session is not None:
            signin.touch(data_dir(), session, book.now_ms)
    except StoreError:
        return Access(Door.NO_STORE)
    return found


def _asked(book: Book, wall: str | None) -> tuple[Access, Session | None]:
    if wall is not None:
        return _by_link(book, wall), None
    if is_open(book.conn):
        return Access(Door.OPEN), None
    found = signin.signed_in(book, _token(book), signin.lifetimes())
    if found is not None:
        return Access(Door.SIGNED_IN, found[0]), found[1]
    return Access(Door.SIGNED_OUT if has_accounts(book.conn) else Door.FIRST), None


def _by_link(book: Book, secret: str) -> Access:
    link = wall_link_of(book.conn, secret)
    if link is None:
        return Access(Door.WALL_UNKNOWN)
    return Access(Door.WALL if link.withdrawn_ms is None else Door.WALL_WITHDRAWN, link=link)


def hold() -> None:
    """Draw the whole screen anew when it was opened by something that has ended since."""
    known = st.session_state.get(_OPENED)
    if known is not None and known != _key(access()):
        st.rerun(scope="app")


def opened(found: Access) -> None:
    """Remember how this screen was opened, for `hold`."""
    st.session_state[_OPENED] = _key(found)


def _key(found: Access) -> tuple[object, ...]:
    account, link = found.account, found.link
    return found.door, account and (account.id, account.name, account.role, account.wards), link and link.id


def current() -> Person | None:
    """Who is signed in; None where nobody is, or nobody has to be."""
    account = access().account
    return None if account is None else Person(account.name, account.role, account.wards, signed_in=True)


def write(entry: JournalEntry) -> JournalRow:
    """Write down what the person at this screen did; Refused, StoreError, and then nothing is written."""
    try:
        return acts.record(data_dir(), entry, token(), address(), signin.lifetimes())
    except NotAllowed as error:
        raise Refused(str(error)) from error
