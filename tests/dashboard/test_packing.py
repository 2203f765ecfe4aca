"""Streamlit's files over the wire: compressed once, as they are for whoever cannot unpack, pages without idle fonts."""

import asyncio
import gzip
import re
import urllib.error
import urllib.request

import pytest
from websockets.sync.client import connect
from websockets.typing import Subprotocol

from dashboard.packing import Packed
from tests.dashboard.hospital import Hospital, site_text
from tests.dashboard.test_browser import serving


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    folder = tmp_path_factory.mktemp("packing")
    one = Hospital(folder / "data", site_text(1), 1_700_000_000_000)
    one.say()
    with serving(one.data_dir, folder / "log") as (url, _):
        yield url
    one.store.close()


def got(address, **headers):
    asked = urllib.request.Request(address, headers={name.replace("_", "-"): value for name, value in headers.items()})  # noqa: S310
    with urllib.request.urlopen(asked, timeout=20) as answer:  # noqa: S310
        return answer.status, answer.headers, answer.read()


@pytest.fixture(scope="module")
def script(url):
    """The address of the page's script and of its style."""
    page = got(url)[2].decode()
    return {kind: url + re.findall(rf"/static/{kind}/index\.[\w-]+\.{kind}", page)[0] for kind in ("js", "css")}


def test_a_script_comes_packed_and_is_the_same_each_time(script):
    plain = got(script["js"])[2]
    for _ in range(2):
        status, headers, body = got(script["js"], Accept_Encoding="gzip, br")
        assert (status, headers["content-encoding"], "accept-encoding" in headers["vary"].lower()) == (
            200,
            "gzip",
            True,
        )
        assert "immutable" in headers["cache-control"]
        assert headers["content-length"] == str(len(body))
        assert [name for name in ("etag", "last-modified", "accept-ranges") if name in headers] == []  # no resuming
        assert len(body) < len(plain) / 2
        assert gzip.decompress(body) == plain


def test_whoever_cannot_unpack_or_asks_for_a_part_gets_it_as_it_is(script):
    status, headers, body = got(script["js"])
    assert (status, headers["content-encoding"], headers["content-length"]) == (200, None, str(len(body)))
    status, headers, part = got(script["js"], Accept_Encoding="gzip", Range="bytes=0-9")
    assert (status, headers["content-encoding"], part) == (206, None, body[:10])


def test_a_font_that_no_screen_uses_is_not_asked_for(url, script):
    style = gzip.decompress(got(script["css"], Accept_Encoding="gzip")[2])
    assert b"@font-face" in style, "others are there"
    assert b"SourceS" not in style
    for path in ("", "/units", "/?ward=medical"):
        page = got(url + path)[2]
        assert b"<script" in page
        assert b"woff2" not in page


def test_what_is_not_there_is_not_kept_under_its_name(url):
    """Streamlit answers a name that it does not know with its page; kept, that would grow without bound."""
    for _ in range(2):
        status, headers, body = got(f"{url}/static/js/none.js", Accept_Encoding="gzip")
        assert (status, headers["cache-control"]) == (200, "no-cache")
        assert b"<script" in body


def test_half_a_script_is_passed_on_as_that_and_not_kept():
    """Its length stays what was said, so that a browser knows; the next one who asks gets the whole."""
    whole, bodies, sent = b"x" * 1_000, [b"x" * 10, b"x" * 1_000], []

    async def app(_scope, _receive, send):
        headers = [(b"cache-control", b"public, immutable"), (b"content-length", str(len(whole)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": bodies.pop(0)})

    async def send(message):
        sent.append(message)

    async def receive():
        return {"type": "http.request", "body": b""}

    scope = {"type": "http", "method": "GET", "path": "/static/js/a.js", "headers": [(b"accept-encoding", b"gzip")]}
    packed = Packed(app)
    for _ in range(3):  # the last one is answered from what is kept
        asyncio.run(packed(scope, receive, send))
    half, full, kept = (dict(one["headers"]) for one in sent[::2])
    assert (half[b"content-length"], b"content-encoding" in half, sent[1]["body"]) == (b"1000", False, b"x" * 10)
    assert full == kept
    assert [gzip.decompress(one["body"]) for one in sent[3::2]] == [whole, whole]


def test_what_is_alive_is_said_at_once(url):
    assert got(f"{url}/_stcore/health", Accept_Encoding="gzip")[::2] == (200, b"ok")
    with pytest.raises(urllib.error.HTTPError, match="405"):
        urllib.request.urlopen(urllib.request.Request(url + "/", method="DELETE"), timeout=20)  # noqa: S310


def test_the_web_socket_remembers_what_it_sent_before(url):
    """Else a board that is drawn again goes over the line whole: the server's own memory is 4 kB."""
    address = url.replace("http", "ws") + "/_stcore/stream"
    with connect(address, subprotocols=[Subprotocol("streamlit")]) as socket:
        agreed = socket.response.headers["Sec-WebSocket-Extensions"] if socket.response else ""
    assert agreed.startswith("permessage-deflate")
    assert "server_max_window_bits" not in agreed  # 32 kB, RFC 7692, 7.1.2.1
    assert "server_no_context_takeover" not in agreed
