"""The addresses that forms of signing in are sent to: from where, with what, and where they lead."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.testclient import TestClient

from dashboard import doorway
from dashboard.doorway import ROUTES, safe_next
from dashboard.launch import DATA_ENV
from tests.collector.people.house import PASSWORD, House

HERE = {"origin": "http://testserver"}


@pytest.fixture
def house(tmp_path, monkeypatch):
    monkeypatch.setenv(DATA_ENV, str(tmp_path / "data"))
    house = House(tmp_path / "data")
    house.add()
    return house


@pytest.fixture
def client():
    with TestClient(Starlette(routes=ROUTES), follow_redirects=False) as client:
        yield client


def fields(**more):
    return {"login": "boss", "password": PASSWORD} | more


def test_the_right_password_sets_a_cookie_that_scripts_cannot_read(house, client):
    reply = client.post(doorway.IN, data=fields(next="/unit?unit=u1"), headers=HERE)
    assert (reply.status_code, reply.headers["location"]) == (303, "/unit?unit=u1")
    cookie = reply.headers["set-cookie"]
    assert cookie.startswith("sw-session-lakeside=")
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Secure" not in cookie


def test_over_tls_the_cookie_is_for_tls_and_this_host_only(house):
    with TestClient(Starlette(routes=ROUTES), base_url="https://testserver", follow_redirects=False) as client:
        reply = client.post(doorway.IN, data=fields(), headers={"origin": "https://testserver"})
    cookie = reply.headers["set-cookie"]
    assert cookie.startswith("__Host-sw-session-lakeside=")
    assert "Secure" in cookie
    assert "Path=/" in cookie


@pytest.mark.parametrize("headers", [{}, {"origin": "http://elsewhere"}, {"origin": "null"}])
@pytest.mark.parametrize("path", [route.path for route in ROUTES])
def test_a_form_of_another_page_is_refused(house, client, path, headers):
    reply = client.post(path, data=fields(), headers=headers)
    assert reply.headers["location"] == "/?said=refused-origin"
    assert "set-cookie" not in reply.headers


@pytest.mark.parametrize("path", [route.path for route in ROUTES])
def test_nothing_is_done_by_following_a_link(house, client, path):
    assert client.get(path).status_code == 405


@pytest.mark.parametrize("body", [b"", b"login=boss", b"\xff\xfe=&&&", b"login=boss&password=" + b"x" * 9_000])
def test_what_is_no_form_lets_nobody_in(house, client, body):
    headers = HERE | {"content-type": "application/x-www-form-urlencoded"}
    reply = client.post(doorway.IN, content=body, headers=headers)
    assert reply.headers["location"].startswith("/?said=")
    assert "set-cookie" not in reply.headers


def test_too_many_fields_let_nobody_in(house, client):
    reply = client.post(doorway.IN, data={f"f{n}": "x" for n in range(50)}, headers=HERE)
    assert reply.headers["location"] == "/?said=refused-origin"


def test_what_was_typed_does_not_come_back(house, client):
    reply = client.post(doorway.IN, data=fields(password="a guess", login="<script>"), headers=HERE)  # noqa: S106
    assert reply.headers["location"] == "/?said=wrong"


def test_signing_in_ends_the_session_that_the_device_had(house, client):
    client.post(doorway.IN, data=fields(), headers=HERE)
    old = client.cookies["sw-session-lakeside"]
    client.post(doorway.IN, data=fields(), headers=HERE)
    assert client.cookies["sw-session-lakeside"] != old
    ended = [row.body["why"] for row in house.rows("sign-out")]
    assert ended == ["by hand"]


def test_signing_out_takes_the_cookie_away(house, client):
    client.post(doorway.IN, data=fields(), headers=HERE)
    reply = client.post(doorway.OUT, data={"everywhere": "yes"}, headers=HERE)
    assert reply.headers["location"] == "/?said=out"
    assert "sw-session-lakeside" not in client.cookies
    assert [row.body["why"] for row in house.rows("sign-out")] == ["everywhere"]


def test_without_a_store_nobody_is_let_in(tmp_path, monkeypatch, client):
    monkeypatch.setenv(DATA_ENV, str(tmp_path / "none"))
    for path in (doorway.IN, doorway.OUT, doorway.FIRST):
        assert client.post(path, data=fields(), headers=HERE).headers["location"] == "/?said=store"


@pytest.mark.parametrize(
    "asked",
    ["//elsewhere", "/\\elsewhere", "https://elsewhere", "javascript:alert(1)", "", "unit", "/a\r\nset-cookie: x",
     "/a\\b", "/?said=changed"],
)  # fmt: skip
def test_after_signing_in_nobody_is_sent_elsewhere(asked):
    assert safe_next(asked) == "/"


@given(st.text())
def test_any_text_leads_to_a_path_of_this_dashboard(asked):
    found = safe_next(asked)
    assert found.startswith("/")
    assert not found.startswith(("//", "/\\"))
    assert found.isprintable()
