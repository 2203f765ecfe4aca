"""Streamlit's own files compressed once and kept: it sends them as they are, which is minutes on a slow line.

Rules of this file: only what never changes under its name (`immutable`) is kept, so memory is bounded by the files that
there are; a reader that cannot unpack is sent the file as it is.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from http import HTTPStatus
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

STATIC: Final = "/static/"
_TEXT: Final = (".js", ".css", ".svg", ".json")
_LEVEL: Final = 9
#: What is true of the file as it was. With these a browser that was cut off would ask for the rest of the file, and put
#: it behind the beginning of the packed one.
_OF_THE_FILE: Final = ("etag", "last-modified", "accept-ranges")
#: Fonts that no screen uses (launch.py sets those of the reader's system): asked for ahead by the page, and named in
#: its style, they came first and took 170 kB of the line.
_FONT_AHEAD: Final = re.compile(rb'<link\s+rel="preload"[^>]*as="font"[^>]*/?>')
_FONT_FACE: Final = re.compile(rb"@font-face\s*{[^}]*url\([^)]*SourceS[^}]*}")


class Packed:
    """Sends Streamlit's scripts and styles compressed, its page and style without fonts that nobody needs."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._kept: dict[str, tuple[MutableHeaders, bytes]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer from what is kept, else pass on and keep what comes back."""
        if scope["type"] != "http" or scope["method"] != "GET":
            await self.app(scope, receive, send)
            return
        path, asked = scope["path"], Headers(scope=scope)
        text = path.startswith(STATIC) and path.endswith(_TEXT)
        packs = "gzip" in asked.get("accept-encoding", "") and "range" not in asked
        if text and packs and (kept := self._kept.get(path)):
            await _reply(send, *kept)
        elif (text and packs) or (not path.startswith((STATIC, "/_stcore", "/media"))):
            await self._passed(scope, receive, send, keep=text)
        else:
            await self.app(scope, receive, send)

    async def _passed(self, scope: Scope, receive: Receive, send: Send, *, keep: bool) -> None:
        """Pass a request on; pack and keep a file, take the font out of a page, let all else through as it comes."""
        answer = _Answer(send, _is_kept if keep else _is_page)
        await self.app(scope, receive, answer.take)
        if answer.headers is None:
            return
        if keep and not answer.is_whole():
            await _reply(send, answer.headers, bytes(answer.body))
            return
        body = _FONT_AHEAD.sub(b"", _FONT_FACE.sub(b"", bytes(answer.body)))
        if keep:
            body = await run_in_threadpool(gzip.compress, body, _LEVEL, mtime=0)
            answer.headers["content-encoding"] = "gzip"
            answer.headers.add_vary_header("accept-encoding")
            for name in _OF_THE_FILE:
                del answer.headers[name]
        answer.headers["content-length"] = str(len(body))
        if keep:
            self._kept[scope["path"]] = (answer.headers, body)
        await _reply(send, answer.headers, body)


class _Answer:
    """Holds an answer back while it is one that `wanted` wants; others go through as they come."""

    def __init__(self, send: Send, wanted: Callable[[Headers], bool]) -> None:
        self._send, self._wanted = send, wanted
        self.headers: MutableHeaders | None = None
        self.body = bytearray()

    async def take(self, message: Message) -> None:
        """One message of the answer."""
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message["headers"]))
            if message["status"] == HTTPStatus.OK and self._wanted(headers):
                self.headers = headers
                return
        if self.headers is None:
            await self._send(message)
        elif message["type"] == "http.response.body":
            self.body += message.get("body", b"")

    def is_whole(self) -> bool:
        """Whether as much has come as was said: half a script must be known as that, and never be kept."""
        return self.headers is not None and self.headers.get("content-length") == str(len(self.body))


def _is_kept(headers: Headers) -> bool:
    return "immutable" in headers.get("cache-control", "") and "content-encoding" not in headers


def _is_page(headers: Headers) -> bool:
    return headers.get("content-type", "").startswith("text/html") and "content-encoding" not in headers


async def _reply(send: Send, headers: MutableHeaders, body: bytes) -> None:
    await send({"type": "http.response.start", "status": HTTPStatus.OK, "headers": headers.raw})
    await send({"type": "http.response.body", "body": body})
