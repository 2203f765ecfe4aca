"""The addresses that forms of signing in are sent to, outside of Streamlit: only a reply can set an HttpOnly cookie.

Rules of this file: a form must come from the dashboard's own page (its Origin is compared with the Host). Replies are
redirections that name one of a fixed set of texts; nothing that was typed comes back. Hashing runs in a thread.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final
from urllib.parse import parse_qs, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from collector.people import codes, signin
from collector.people.book import reading
from collector.people.codes import AccountRefused
from collector.people.passwords import PasswordRefused
from collector.people.signin import SignInRefused
from collector.store import StoreError
from collector.store.history import facility_id
from dashboard.access import COOKIE, SECURE
from dashboard.launch import data_dir

IN: Final = "/session/in"
OUT: Final = "/session/out"
FIRST: Final = "/session/first"
CODE: Final = "/session/code"
CHANGE: Final = "/session/change"
TICKET: Final = "/session/ticket"
_BODY_MOST: Final = 8_192
_HERE: Final = frozenset({"127.0.0.1", "::1", ""})
#: Streamlit's own cookies of a single sign-on: they have done their work once our session has begun.
_STREAMLIT: Final = ("_streamlit_user", "_streamlit_user_tokens")

Fields = dict[str, str]
Work = Callable[[Fields, str, str], str]


def address_of(request: Request) -> str:
    """Where a request comes from, as access.address() says it for a screen."""
    host = request.client.host if request.client else ""
    return "this machine" if host in _HERE else host


def is_own(request: Request) -> bool:
    """Whether a form was sent by a page of this dashboard."""
    origin = request.headers.get("origin", "")
    return bool(origin) and urlsplit(origin).netloc == request.headers.get("host", "")


def safe_next(asked: str) -> str:
    """Where to go after signing in: a path of this dashboard, else its front page."""
    parts = urlsplit(asked[:500])
    good = asked.startswith("/") and not asked.startswith(("//", "/\\")) and not (parts.scheme or parts.netloc)
    return asked if good and asked.isprintable() and "\\" not in asked and "said=" not in asked else "/"


async def _fields(request: Request) -> Fields | None:
    """What a form says; None when it is too long or has too many fields."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _BODY_MOST:
            return None
    try:
        parsed = parse_qs(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=20)
    except ValueError:
        return None
    return {name: values[0] for name, values in parsed.items()}


def _cookie_name(request: Request) -> str:
    with reading(data_dir()) as book:
        name = COOKIE + facility_id(book.conn)
    return SECURE + name if request.url.scheme == "https" else name


def _token(request: Request) -> str:
    return request.cookies.get(_cookie_name(request), "")


def _said(what: str, seconds: int = 0) -> Response:
    return RedirectResponse(f"/?said={what}" + (f"&s={seconds}" if seconds else ""), 303)


def _enter(work: Work) -> Callable[[Request], Response]:
    """An address whose form lets somebody in when `work` returns a token."""

    async def handle(request: Request) -> Response:
        fields = await _fields(request) if is_own(request) else None
        if fields is None:
            return _said("refused-origin")
        try:
            token = await run_in_threadpool(work, fields, address_of(request), _token(request))
        except SignInRefused as refused:
            return _said("wait", -(-refused.wait_ms // 1000)) if refused.wait_ms else _said("wrong")
        except PasswordRefused as refused:
            return _said("short" if "or more" in str(refused) else "common")
        except AccountRefused:
            return _said("taken")
        except StoreError:
            return _said("store")
        reply = RedirectResponse(safe_next(fields.get("next", "/")), 303)
        lasts_s = signin.lifetimes().whole_ms // 1000
        reply.set_cookie(_cookie_name(request), token, max_age=lasts_s, path="/", httponly=True, samesite="strict",
                         secure=request.url.scheme == "https")  # fmt: skip
        for name in [name for name in request.cookies if name.startswith(_STREAMLIT)]:
            reply.delete_cookie(name)
        return reply

    return handle  # type: ignore[return-value]


def _in(fields: Fields, address: str, old: str) -> str:
    token = signin.sign_in(data_dir(), fields.get("login", ""), fields.get("password", ""), address)
    signin.sign_out(data_dir(), old, address)  # whoever used this device before
    return token


def _first(fields: Fields, address: str, old: str) -> str:
    return codes.make_first(data_dir(), fields.get("code", ""), fields.get("login", ""), fields.get("full_name", ""),
                            fields.get("password", ""), address)  # fmt: skip


def _code(fields: Fields, address: str, old: str) -> str:
    return codes.set_by_code(data_dir(), fields.get("code", ""), fields.get("password", ""), address)


def _change(fields: Fields, address: str, old: str) -> str:
    account = signin.who_is(data_dir(), old, signin.lifetimes())
    if account is None:
        raise SignInRefused
    return codes.change_own(data_dir(), account.id, fields.get("old", ""), fields.get("password", ""), address)


def _ticket(fields: Fields, address: str, old: str) -> str:
    token = codes.use_ticket(data_dir(), fields.get("ticket", ""), address)
    signin.sign_out(data_dir(), old, address)
    return token


async def _out(request: Request) -> Response:
    fields = await _fields(request) if is_own(request) else None
    if fields is None:
        return _said("refused-origin")
    try:
        await run_in_threadpool(_leave, _token(request), address_of(request), "everywhere" in fields)
    except StoreError:
        return _said("store")
    reply = RedirectResponse("/?said=out", 303)
    for name in [name for name in request.cookies if name.startswith((*_STREAMLIT, COOKIE, SECURE + COOKIE))]:
        reply.delete_cookie(name, path="/", secure=name.startswith(SECURE))
    return reply


def _leave(token: str, address: str, everywhere: bool) -> None:
    signin.sign_out(data_dir(), token, address, everywhere=everywhere)


ROUTES: Final = [
    Route(IN, _enter(_in), methods=["POST"]),
    Route(FIRST, _enter(_first), methods=["POST"]),
    Route(CODE, _enter(_code), methods=["POST"]),
    Route(CHANGE, _enter(_change), methods=["POST"]),
    Route(TICKET, _enter(_ticket), methods=["POST"]),
    Route(OUT, _out, methods=["POST"]),
]
