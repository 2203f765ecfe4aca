"""Who acts on a screen of upkeep: whoever is signed in; in an open simulation chosen or written down, and remembered.

Rules of this file: where nobody signs in, a name is what somebody says, never proof of who they are. A cookie of this
device holds the last name and role, so that the next scan of a label need not ask; it is a hint, checked as any input.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Final
from urllib.parse import quote, unquote

import streamlit as st

from collector.people.rights import ROLES
from dashboard import access, access_words
from dashboard import service_words as words
from dashboard.actions import TEXT_MAX, Person
from dashboard.queries import Now
from dashboard.words import name_of

COOKIE: Final = "sw-who"
COOKIE_DAYS: Final = 30


def who_records(now: Now) -> Person:
    """The person who acts; for one who is not in the site file the role is asked too."""
    if (signed_in := access.current()) is not None:
        st.caption(access_words.signed_in_as(signed_in))
        return signed_in
    known = _known(now)
    last = _last(known)
    names = list(known) if not last.name or last.name in known else [last.name, *known]
    name = st.selectbox(words.WHO, names, index=names.index(last.name) if last.name in names else None, key="crew-name",
                        accept_new_options=True, placeholder=words.WHO_PLACEHOLDER) or ""  # fmt: skip
    role = known.get(name, "")
    if name and not role:
        role = st.selectbox(words.ROLE, ROLES, index=ROLES.index(last.role), key="crew-role", format_func=name_of)
    person = Person(name, role or ROLES[0])
    if name:
        st.session_state["who"], st.session_state["as"] = person.name, person.role
        _remember(person)
    return person


def last_person(now: Now) -> Person:
    """Whoever is signed in, else whom this device heard of last; without a name when it never did."""
    return access.current() or _last(_known(now))


def _known(now: Now) -> dict[str, str]:
    return {person.name or person.id: person.role for person in now.site.people} if now.site else {}


def _last(known: Mapping[str, str]) -> Person:
    """Whom this session or this device heard of last."""
    state = st.session_state
    if state.get("who"):
        return Person(state["who"], state.get("as", ROLES[0]))
    return told(str(st.context.cookies.get(COOKIE) or ""), known)


def told(cookie: str, known: Mapping[str, str]) -> Person:
    """The person that a cookie names; nobody when it is none of ours."""
    name, _, role = unquote(cookie).partition("|")
    name = " ".join(name.split())[:TEXT_MAX]
    role = known.get(name, role)
    return Person(name, role) if name and role in ROLES else Person("", ROLES[0])


def _remember(person: Person) -> None:
    """Leave the name with this device, for this site only."""
    if st.session_state.get("crew-told") == person:
        return
    st.session_state["crew-told"] = person
    value = quote(f"{person.name}|{person.role}")
    text = f"{COOKIE}={value}; path=/; max-age={COOKIE_DAYS * 86_400}; SameSite=Strict"
    st.html(f"<script>document.cookie = {json.dumps(text)}</script>", unsafe_allow_javascript=True)
