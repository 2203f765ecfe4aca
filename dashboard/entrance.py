"""What is shown to somebody who is not signed in: the forms of signing in, and what a wall screen says without a link.

Rules of this file: nothing of the facility but its name's absence is shown here; forms are plain HTML and go to the
addresses of doorway.py, so that no password passes through a widget.
"""

from __future__ import annotations

from html import escape
from urllib.parse import urlencode, urlsplit

import streamlit as st

from collector.people import codes
from dashboard import access_words as words
from dashboard import doorway, queries, sso
from dashboard import words as common_words
from dashboard.access import Access, Door, access, address, hold
from dashboard.frame import EVERY_S, look
from dashboard.launch import data_dir
from dashboard.tiles import strip_html


@st.fragment(run_every=EVERY_S)
def _beat() -> None:
    """Keeps the watch in the browser quiet, and looks whether something else is to be shown."""
    hold()
    st.html(strip_html(None, (), 0, queries.wall_ms()))


@st.fragment(run_every=EVERY_S)
def _waiting() -> None:
    """What is wrong with the store, and nothing of what is in it."""
    hold()
    st.html(strip_html(None, look(held=False).banners, 0, queries.wall_ms()))


def draw(found: Access) -> None:
    """What there is to see for somebody who is not let in."""
    if found.door == Door.NO_STORE:
        _waiting()
        return
    _beat()
    if found.door in (Door.WALL_WITHDRAWN, Door.WALL_UNKNOWN):
        said = words.WALL_WITHDRAWN if found.door == Door.WALL_WITHDRAWN else words.WALL_UNKNOWN
        st.html(f'<div class="sw-huge">{escape(said)}</div>')
        return
    said = said_text()
    if said:
        (st.success if st.query_params.get("said") == "out" else st.error)(said)
    st.html(f'<p class="sw-product">{escape(common_words.PRODUCT)}</p>')
    if found.door == Door.FIRST:
        _draw_first()
    else:
        _draw_sign_in()
    st.html(f'<p class="sw-caution">{escape(common_words.CAUTION)}</p>')


def draw_closed() -> None:
    """The same as a page, under whatever address was asked for."""
    draw(access())


def said_text() -> str:
    """What the last form led to, from a fixed set of texts."""
    said, seconds = st.query_params.get("said", ""), st.query_params.get("s", "")
    if said == "wait":
        return words.wait(min(int(seconds), 86_400) if seconds.isascii() and seconds.isdigit() else 60)
    return words.SIGNED_OUT if said == "out" else words.SAID.get(said, "")


def _here() -> str:
    """The address asked for, without its host, to go to afterwards."""
    query = {name: value for name, value in st.query_params.items() if name not in ("said", "s")}
    path = urlsplit(st.context.url or "/").path or "/"
    return path + (f"?{urlencode(query)}" if query else "")


def field(label: str, name: str, kind: str, hint: str) -> str:
    """A labelled input; some names (`name`, `id`) would be taken away by the browser's cleaning of HTML."""
    return (f'<label>{escape(label)}<input name="{name}" type="{kind}" autocomplete="{hint}" maxlength="300" '
            f'required></label>')  # fmt: skip


def form(action: str, fields: str, button: str, after: str = "/") -> str:
    """A form that is sent to one of doorway's addresses."""
    return (f'<form class="sw-door" method="post" action="{action}"><input type="hidden" name="next" '
            f'value="{escape(after)}">{fields}<button type="submit">{escape(button)}</button></form>')  # fmt: skip


def _draw_first() -> None:
    st.header(words.FIRST)
    st.write(words.FIRST_HOW)
    fields = field(words.CODE, "code", "text", "one-time-code") + field(words.NAME, "full_name", "text", "name")
    fields += field(words.LOGIN, "login", "text", "username")
    st.html(form(doorway.FIRST, fields + field(words.PASSWORD, "password", "password", "new-password"),
                 words.FIRST_MAKE))  # fmt: skip
    st.caption(words.LENGTHS)


def _draw_sign_in() -> None:
    st.header(words.SIGN_IN)
    if sso.settings() is not None:
        _draw_sso()
    fields = field(words.LOGIN, "login", "text", "username")
    fields += field(words.PASSWORD, "password", "password", "current-password")
    st.html(form(doorway.IN, fields, words.SIGN_IN, _here()))
    st.caption(words.FORGOT)
    with st.expander(words.HAVE_CODE):
        fields = field(words.CODE, "code", "text", "one-time-code")
        fields += field(words.NEW_PASSWORD, "password", "password", "new-password")
        st.html(form(doorway.CODE, fields, words.SET_PASSWORD))
        st.caption(words.LENGTHS)


def _draw_sso() -> None:
    """The provider's button; once it has vouched for somebody, a ticket is exchanged for a session at once."""
    found = sso.settings() or {}
    if not st.user.is_logged_in:
        st.button(words.BY_SSO, on_click=st.login)
        return
    if "sw-ticket" not in st.session_state:
        subject = sso.subject_of(st.user.to_dict(), found.get("claim", "email"))
        st.session_state["sw-ticket"] = codes.sso_ticket(data_dir(), subject, address())
    if (ticket := st.session_state["sw-ticket"]) is None:
        st.error(words.SSO_NOBODY)
        st.button(words.SIGN_OUT, on_click=st.logout)
        return
    ticket_form = (f'<form id="sw-ticket" method="post" action="{doorway.TICKET}"><input type="hidden" name="ticket" '
                   f'value="{escape(ticket)}"></form>')  # fmt: skip
    send = '<script>document.getElementById("sw-ticket").submit()</script>'
    st.html(ticket_form + send, unsafe_allow_javascript=True)
