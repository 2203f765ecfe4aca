"""A real InfluxDB server for tests, behind a front that speaks version 2's write path.

The server is Debian's influxd 1.6: its storage, its parser of the line protocol, its accounts and grants and its
InfluxQL are real. The front turns `/api/v2/write` and `Token` authorisation into what that server knows, and gives
version 2's shape and code to its errors. What version 2 does otherwise cannot be seen here: see DEVELOPERS.md.
"""

import base64
import http.client
import json
import os
import shutil
import socket
import subprocess
import threading
import urllib.parse
import urllib.request
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from tests.waiting import free_port, wait_for

WRITE_TOKEN, READ_TOKEN, BOTH_TOKEN = "write-token", "read-token", "both-token"
ACCOUNTS = {WRITE_TOKEN: "writer:w", READ_TOKEN: "reader:r", BOTH_TOKEN: "both:b"}
ADMIN = "admin:a"
NAMES = {400: "invalid", 403: "forbidden", 404: "not found", 422: "unprocessable entity"}
CONFIG = """reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
dir = "{home}/meta"
[data]
dir = "{home}/data"
wal-dir = "{home}/wal"
query-log-enabled = false
[monitor]
store-enabled = false
[http]
bind-address = "127.0.0.1:{port}"
auth-enabled = true
log-enabled = false
[logging]
level = "warn"
"""


class Front(ThreadingHTTPServer):
    """The front. `faults` holds (status, headers) that the next writes are answered with; `writes` counts them."""

    daemon_threads = True

    def __init__(self, upstream_port):
        self.upstream_port, self.faults, self.writes, self.most_lines = upstream_port, [], 0, None
        super().__init__(("127.0.0.1", 0), _Answer)

    @property
    def url(self):
        """Where it answers."""
        return f"http://127.0.0.1:{self.server_address[1]}"


class _Answer(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: Front

    def log_message(self, *_):
        pass

    def do_POST(self):
        self._answer()

    do_GET = do_POST

    def _answer(self):
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        parts = urllib.parse.urlsplit(self.path)
        account = ACCOUNTS.get((self.headers.get("Authorization") or "").removeprefix("Token "))
        if account is None:
            self._fail(401, "unauthorized", "unauthorized access")
        elif parts.path == "/query":
            self._pass_on(self.path, body, account)
        elif parts.path == "/api/v2/write":
            self.server.writes += 1
            if self.server.faults:
                status, headers = self.server.faults.pop(0)
                self._fail(status, "injected", "as the test wants it", headers)
            else:
                self._pass_on(_write_path(parts.query), body, account)
        else:
            self._fail(404, "not found", "path not found")

    def _pass_on(self, path, body, account):
        headers = {k: v for k, v in self.headers.items() if k.lower() in ("content-encoding", "accept")}
        headers["Authorization"] = "Basic " + base64.b64encode(account.encode()).decode()
        line = http.client.HTTPConnection("127.0.0.1", self.server.upstream_port, timeout=60)
        try:
            line.request(self.command, path, body or None, headers)
            answer = line.getresponse()
            data = answer.read()
        except OSError as error:
            self._fail(503, "unavailable", str(error))
            return
        finally:
            line.close()
        status = 422 if b"field type conflict" in data or b"beyond retention policy" in data else answer.status
        if status >= 400:
            self._fail(status, NAMES.get(status, "invalid"), json.loads(data)["error"])
        else:
            self._reply(status, data, {"Content-Type": answer.getheader("Content-Type") or "text/plain"})

    def _fail(self, status, code, message, headers=None):
        body = json.dumps({"code": code, "message": message}).encode()
        self._reply(status, body, {"Content-Type": "application/json", **(headers or {})})

    def _reply(self, status, body, headers):
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        if status != 204:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if status != 204:
            self.wfile.write(body)


def _write_path(query):
    asked = {name: values[0] for name, values in urllib.parse.parse_qs(query).items()}
    database, _, policy = asked["bucket"].partition("/")
    # 1.6 takes a precision that it does not know for nanoseconds, without a word.
    precision = {"ns": "n", "us": "u"}.get(asked.get("precision", "ns"), asked.get("precision"))
    return "/write?" + urllib.parse.urlencode({"db": database, "rp": policy, "precision": precision})


class Server:
    """A running server: `url` of its front, and a database of its own for each test."""

    def __init__(self, port, front):
        self.port, self.front, self.url = port, front, front.url
        self._databases = 0

    def statement(self, text, account=ADMIN):
        """Have the server do an InfluxQL statement, and return what it says."""
        data = urllib.parse.urlencode({"q": text, "epoch": "ms"}).encode()
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}/query", data)
        if account:
            request.add_header("Authorization", "Basic " + base64.b64encode(account.encode()).decode())
        with urllib.request.urlopen(request, timeout=30) as answer:  # noqa: S310
            said = json.load(answer)
        assert "error" not in json.dumps(said), said
        return said["results"]

    def new_database(self):
        """A new empty database that the three accounts may use; returns its name."""
        self._databases += 1
        name = f"oxygen_{self._databases}"
        self.statement(
            f"CREATE DATABASE {name}; GRANT WRITE ON {name} TO writer; GRANT READ ON {name} TO reader; "
            f"GRANT ALL ON {name} TO both"
        )
        return name

    def rows(self, database, text):
        """The rows of a SELECT, each as a dict."""
        series = self.statement(text.replace(" FROM ", f" FROM {database}.autogen."))[0].get("series", [])
        return [dict(zip(each["columns"], row, strict=True)) for each in series for row in each["values"]]


def find_influxd():
    """Where influxd is; without it a test is skipped, and fails in CI, where every program is to be there."""
    found = shutil.which("influxd")
    if found is None and os.environ.get("CI") == "true":
        pytest.fail("CI must not skip this: there is no influxd (Debian's package influxdb)")
    return found or pytest.skip("there is no influxd; install Debian's package influxdb")


@contextmanager
def running(home):
    """A server with its files in a directory, until the end of the block."""
    port = free_port()
    (home / "influxd.conf").write_text(CONFIG.format(home=home, port=port, rpc=free_port()))
    with (home / "log").open("wb") as said:
        process = subprocess.Popen([find_influxd(), "-config", str(home / "influxd.conf")], stdout=said, stderr=said)
        front = None
        try:
            wait_for(lambda: _listens(port, process), 20, "influxd")
            front = Front(port)
            server = Server(port, front)
            server.statement("CREATE USER admin WITH PASSWORD 'a' WITH ALL PRIVILEGES", account=None)
            for account in ACCOUNTS.values():
                name, _, word = account.partition(":")
                server.statement(f"CREATE USER {name} WITH PASSWORD '{word}'")
            threading.Thread(target=front.serve_forever, daemon=True).start()
            yield server
            front.shutdown()
        finally:
            if front is not None:
                front.server_close()
            process.kill()
            process.wait(10)


def _listens(port, process):
    assert process.poll() is None, "influxd ended"
    with socket.socket() as line:
        return line.connect_ex(("127.0.0.1", port)) == 0
