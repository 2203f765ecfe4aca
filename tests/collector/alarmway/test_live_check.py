"""The whole way for real: a broker, a collector, a store, a server in the dashboard's place, and the command."""

import json
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from typer.testing import CliRunner

from collector.cli.main import app
from collector.cli.says import Refused
from collector.clock import WallClock
from collector.door import Door
from collector.live import Collector
from collector.notify.waytest import RESULT_DOCUMENT
from collector.site import parse_site
from collector.store import JournalWriter, open_reader, open_store
from collector.store.connect import connect_writer, immediate, store_path
from collector.store.history import journal_rows, status
from collector.store.present import set_status
from tests.collector.messages.gateways import Web
from tests.collector.store.samples import note
from tests.waiting import free_port, wait_for

ROOT = Path(__file__).parents[3]
SITE_TEXT = '[facility]\nid="lakeside"\n[[ward]]\nid="newborn"\n[[ward]]\nid="men"\n[[unit]]\nid="u1"\nward="newborn"\n'


def collecting(data, broker, stop):
    """A collector in a thread of its own."""

    def work():
        with open_store(data, "lakeside", durable=False) as store:
            collector = Collector(parse_site(SITE_TEXT), store, Door(broker.host, broker.port), WallClock(),
                                  site_text=SITE_TEXT, site_path="site.toml")  # fmt: skip
            collector.run(stop)
            collector.close()

    thread = threading.Thread(target=work)
    thread.start()
    return thread


@pytest.fixture
def live(tmp_path, nats):
    """A collector that is connected; yields (data, address, stop)."""
    data, stop = tmp_path / "data", threading.Event()
    open_store(data, "lakeside").close()
    thread = collecting(data, nats, stop)

    def connected():
        return (status(open_reader(data), "collector") or {}).get("broker_state")

    try:
        wait_for(lambda: connected() == "connected", 20, "the collector's connection")
        yield data, f"{nats.host}:{nats.port}", stop, thread
    finally:
        stop.set()
        thread.join(20)


@pytest.fixture
def health():
    """A server that answers as a dashboard's does, or not."""

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            good = self.path == "/_stcore/health"
            self.send_response(200 if good else 404)
            self.end_headers()
            self.wfile.write(b"ok" if good else b"")

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


def check(data, address, *more, wait="20"):
    """Run the command; (its words, whether the way is whole)."""
    ran = CliRunner().invoke(
        app, ["check", "--live", "--data", str(data), "--broker", address, "--who", "Amie", "--wait", wait, *more]
    )
    if ran.exception is not None and not isinstance(ran.exception, Refused):
        raise ran.exception
    return ran.stdout + str(ran.exception or ""), ran.exit_code == 0


def test_every_way_is_told_with_its_time_and_is_on_record(live, health) -> None:
    data, address, _, _ = live
    said, whole = check(data, address, "--dashboard", health)
    assert whole, said
    for way in ("journal", "signal to newborn", "signal to men", "screens' data", "dashboard"):
        assert any(line.startswith("  arrived") and way in line and " after " in line for line in said.splitlines()), (
            said
        )
    assert "not set up  messages" in said
    (test,) = journal_rows(open_reader(data), kinds=("test-alarm",))
    (result,) = journal_rows(open_reader(data), kinds=("test-alarm-result",))
    assert (test.who, result.body["test"], result.body["dead"]) == ("Amie", test.seq, {})
    assert (status(open_reader(data), RESULT_DOCUMENT) or {})["who"] == "Amie"


def test_one_ward_alone(live) -> None:
    data, address, _, _ = live
    said, whole = check(data, address, "--ward", "men", "--json")
    ways = [one["way"] for one in json.loads(said)["ways"]]
    assert whole
    assert "signal to men" in ways
    assert "signal to newborn" not in ways


def test_a_dead_collector_is_found(live) -> None:
    data, address, stop, thread = live
    stop.set()
    thread.join(20)
    with_old_status(data)
    said, whole = check(data, address, wait="1")
    assert not whole
    assert "DEAD        signal to newborn: the collector was last heard" in said
    assert "dead is signal to newborn, signal to men, screens' data" in said


def with_old_status(data):
    """As if the collector had been gone for a minute."""
    change_status(data, "collector", lambda document: {**document, "wall_ms": document["wall_ms"] - 60_000})


def change_status(data, key, change):
    """Write a status document."""
    conn = connect_writer(store_path(data))
    with immediate(conn, store_path(data)):
        set_status(conn, key, change(status(conn, key) or {}))
    conn.close()


def test_a_broker_that_is_not_there_is_found(live) -> None:
    data, _, _, _ = live
    said, whole = check(data, f"127.0.0.1:{free_port()}", wait="3")
    assert not whole
    assert "arrived     screens' data" in said
    assert "DEAD        signal to men: 127.0.0.1:" in said


def test_a_dead_dashboard_is_found(live) -> None:
    data, address, _, _ = live
    said, whole = check(data, address, "--dashboard", f"http://127.0.0.1:{free_port()}")
    assert not whole
    assert "DEAD        dashboard" in said


def test_messages_that_are_not_delivered_are_found(live) -> None:
    data, address, _, _ = live
    change_status(data, "deliver", lambda _: {"wall_ms": 0, "carriers": {"messages": {"ways": {"duty-phone": {}}}}})
    said, whole = check(data, address, wait="2")
    assert not whole
    assert "DEAD        message by duty-phone: `sieveward deliver` does not run" in said


def test_messages_go_all_the_way_to_a_gateway_marked_test(live, tmp_path) -> None:
    data, address, _, _ = live
    web = Web()
    ways = tmp_path / "messages.toml"
    way = '[[way]]\nid = "{}"\nperson = "duty"\nrole = "engineer"\nurl = "{}"\n'
    ways.write_text(way.format("duty-phone", web.url("take")) + way.format("broken", web.url("refuse")))
    ways.chmod(0o600)
    deliver = [sys.executable, "-m", "collector.cli", "deliver", "--data", str(data), "--messages", str(ways)]
    process = subprocess.Popen(deliver, cwd=ROOT, stderr=subprocess.DEVNULL)
    try:
        wait_for(lambda: status(open_reader(data), "deliver"), 30, "the delivering process")
        said, whole = check(data, address, wait="6")
    finally:
        process.terminate()
        process.wait()
        web.close()
    assert not whole
    assert "arrived     message by duty-phone after" in said
    assert "DEAD        message by broken: " in said
    assert "not set up" not in said.replace("not set up  dashboard", "")
    (post,) = web.to("take")
    assert "TEST, no alarm" in post["title"] + post["message"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--who", " "], "say who with --who"),
        (["--ward", "icu"], "there is no ward 'icu'; there is newborn, men"),
        (["--dashboard", "localhost"], "is no address of a dashboard"),
    ],
)
def test_wrong_usage_is_refused_and_nothing_is_sent(live, more, said) -> None:
    data, address, _, _ = live
    words, whole = check(data, address, *more)
    assert not whole
    assert said in words
    assert journal_rows(open_reader(data), kinds=("test-alarm",)) == []


def test_without_a_site_file_or_live_it_asks_for_one() -> None:
    ran = CliRunner().invoke(app, ["check"])
    assert isinstance(ran.exception, Refused)
    assert "say --live" in str(ran.exception)


def test_a_directory_without_a_store_is_said(tmp_path) -> None:
    words, whole = check(tmp_path, "127.0.0.1:1883")
    assert not whole
    assert "does not exist yet" in words


def test_the_writer_is_as_the_dashboards(live) -> None:
    """Rows of others meanwhile are passed over."""
    data, address, _, _ = live
    JournalWriter(data).append([note("meanwhile")])
    assert check(data, address)[1]
