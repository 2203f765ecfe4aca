"""The parts of the page of people on which an administrator acts.

Rules of this file: each button asks anew whether whoever presses it is an administrator (`as_administrator`), in the
transaction that writes. A code or a link is shown once, on the screen of whoever made it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final
from urllib.parse import urlsplit

import streamlit as st

from collector.people import manage
from collector.people.accounts import Account
from collector.people.book import Book, By
from collector.people.codes import AccountRefused
from collector.people.rights import ROLES, NotAllowed
from collector.people.signin import lifetimes
from collector.store import StoreError
from dashboard import access, words
from dashboard import access_words as texts
from dashboard.launch import data_dir
from dashboard.peoplerows import People, link_text, session_text
from dashboard.queries import Now
from dashboard.words import name_of

_OUTCOME: Final = "people-outcome"
#: What is done to an account by a button, and what is said then; the code of a new password is shown.
_DEEDS: Final[dict[str, Callable[[Book, By, str], str | None]]] = {
    texts.NEW_CODE: manage.password_code,
    texts.UNLOCK: manage.unlock_account,
    texts.DISABLE: manage.disable_account,
    texts.ENABLE: manage.enable_account,
}


def do(work: Callable[[Book, By], str]) -> None:
    """Do it as an administrator and remember what to say; nothing is done when it may not be."""
    try:
        with access_book() as (book, by):
            said = work(book, by)
        st.session_state[_OUTCOME] = (True, said)
    except (AccountRefused, NotAllowed) as error:
        st.session_state[_OUTCOME] = (False, str(error))
    except StoreError as error:
        st.session_state[_OUTCOME] = (False, words.store_fault(str(error)))


def access_book() -> manage.AdministratorsBook:
    """The transaction of whoever is at this screen."""
    return manage.as_administrator(data_dir(), access.token(), access.address(), lifetimes())


def draw_outcome() -> None:
    """What the last button did; a secret in it is shown this once."""
    if (outcome := st.session_state.pop(_OUTCOME, None)) is not None:
        (st.success if outcome[0] else st.error)(outcome[1])


def draw_adding(wards: Mapping[str, str]) -> None:
    """A form for a new account."""
    with st.expander(texts.ADD_ACCOUNT), st.form("add-account", border=False, clear_on_submit=False):
        one, two = st.columns(2)
        one.text_input(texts.LOGIN, key="add-login", max_chars=60)
        two.text_input(texts.NAME_IN_RECORD, key="add-name", max_chars=60)
        one.selectbox(texts.ROLE, ROLES, key="add-role", format_func=name_of)
        two.multiselect(texts.ACTS_IN, list(wards), key="add-wards", placeholder=texts.ALL_WARDS)
        one.text_input(texts.SSO_NAME, key="add-sso", max_chars=200)
        st.form_submit_button(texts.ADD_ACCOUNT, on_click=_add)


def _add() -> None:
    state = st.session_state

    def work(book: Book, by: By) -> str:
        made, code = manage.add_account(book, by, state["add-login"], state["add-name"], state["add-role"],
                                        state["add-wards"], state["add-sso"])  # fmt: skip
        return texts.code_for(made.login, code)

    do(work)


def draw_account(known: People, wards: Mapping[str, str]) -> None:
    """What can be done to one account."""
    by_login = {one.login: one for one in known.accounts}
    with st.expander(texts.CHANGE_ACCOUNT, key="changing"):  # named: a choice in it must not close it
        login = st.selectbox(texts.ACCOUNT, list(by_login), key="change-login")
        _draw_change(by_login[login], wards)
        with st.container(horizontal=True):
            for title, deed in _DEEDS.items():
                if title not in (texts.ENABLE, texts.DISABLE) or (title == texts.ENABLE) == by_login[login].disabled:
                    st.button(title, key=f"deed-{title}", on_click=do, args=(partial(_deed, title, deed, login),))


def _draw_change(one: Account, wards: Mapping[str, str]) -> None:
    with st.form(f"change-{one.login}", border=False):
        first, second = st.columns(2)
        first.selectbox(texts.ROLE, ROLES, ROLES.index(one.role), key=f"role-{one.login}", format_func=name_of)
        second.multiselect(texts.ACTS_IN, list(wards), [ward for ward in one.wards if ward in wards],
                           key=f"wards-{one.login}", placeholder=texts.ALL_WARDS)  # fmt: skip
        st.form_submit_button(texts.CHANGE_ACCOUNT, on_click=_change, args=(one.login,))


def _change(login: str) -> None:
    state = st.session_state

    def work(book: Book, by: By) -> str:
        manage.change_account(book, by, login, role=state[f"role-{login}"], wards=state[f"wards-{login}"])
        return texts.done_to(login, texts.CHANGED)

    do(work)


def _deed(title: str, deed: Callable[[Book, By, str], str | None], login: str, book: Book, by: By) -> str:
    code = deed(book, by, login)
    return texts.code_for(login, code) if code else texts.done_to(login, title.casefold())


def draw_sessions(known: People, now: Now) -> None:
    """Who is signed in, with a button to end it."""
    for one in known.sessions[:100]:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(session_text(known, one, now))
            st.button(texts.END_SESSION, key=f"end-{one.id}", on_click=do, args=(partial(_end, one.id),))


def _end(number: int, book: Book, by: By) -> str:
    manage.end_session(book, by, number)
    return texts.SESSION_ENDED


def draw_links(known: People, wards: Mapping[str, str], now: Now) -> None:
    """Links of wall screens: made, shown once, withdrawn."""
    with st.form("wall", border=False):
        one, two = st.columns(2)
        one.selectbox(texts.WARD, list(wards), format_func=wards.__getitem__, key="wall-ward")
        two.text_input(texts.PLACE, key="wall-place", max_chars=60)
        st.form_submit_button(texts.MAKE_LINK, on_click=_make_link)
    for link in known.links[:100]:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.write(link_text(known, link, now))
            if link.withdrawn_ms is None:
                st.button(texts.WITHDRAW, key=f"withdraw-{link.id}", on_click=do, args=(partial(_withdraw, link.id),))


def _make_link() -> None:
    ward, place = st.session_state["wall-ward"], st.session_state["wall-place"]
    here = urlsplit(st.context.url or "http://127.0.0.1:8501")

    def work(book: Book, by: By) -> str:
        link, token = manage.add_wall_link(book, by, ward or "", place)
        return texts.link_made(link.id, f"{here.scheme}://{here.netloc}/?wall={token}")

    do(work)


def _withdraw(number: int, book: Book, by: By) -> str:
    manage.withdraw_wall_link(book, by, number)
    return texts.link_withdrawn(number)
