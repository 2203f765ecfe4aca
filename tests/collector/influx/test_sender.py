"""What the failures of a server mean, and that none of them holds up whoever writes the store."""

import socket
import threading

import msgspec
import pytest

from collector.influx.sender import Away, Sender, retry_after_s
from collector.store.connect import connect_writer, store_path
from tests.collector.influx.conftest import carried
from tests.collector.store.samples import HOUR, START, put, reading, run_of, upkeep


@pytest.mark.parametrize(
    ("header", "wait_s"),
    [
        (None, None),
        ("", None),
        ("0", 0.0),
        ("120", 120.0),
        ("999999", 3_600.0),
        ("Wed, 21 Oct 2015 07:28:00 GMT", 60.0),
        ("Wed, 21 Oct 2015 07:00:00 GMT", 0.0),
        ("soon", None),
        ("-5", None),
    ],
)
def test_retry_after_is_a_number_or_a_date(header, wait_s):
    """Source: RFC 9110, 10.2.3; its example's date."""
    assert retry_after_s(header, now_s=1_445_412_420.0) == wait_s


def test_a_server_that_never_answers_is_given_up_in_time(target):
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        url = f"http://127.0.0.1:{deaf.getsockname()[1]}"
        with pytest.raises(Away, match="does not answer"):
            Sender(msgspec.structs.replace(target, url=url, timeout_ms=100)).send(["m f=1 1"])


def test_a_connection_that_ends_in_the_middle_is_away(target):
    def hang_up(server):
        server.accept()[0].close()

    with socket.create_server(("127.0.0.1", 0)) as rude:
        threading.Thread(target=hang_up, args=(rude,), daemon=True).start()
        url = f"http://127.0.0.1:{rude.getsockname()[1]}"
        with pytest.raises(Away, match="does not answer"):
            Sender(msgspec.structs.replace(target, url=url, timeout_ms=5_000)).send(["m f=1 1"])


class Held:
    """A server that keeps whoever sends waiting until it is let go."""

    def __init__(self):
        self.asked, self.go_on = threading.Event(), threading.Event()

    def send(self, lines):
        """Wait."""
        self.asked.set()
        assert self.go_on.wait(30)


def test_while_a_server_keeps_it_waiting_the_store_is_written_and_its_log_cut_back(store, feed_to, target, data_dir):
    put(store, run_of(3))
    upkeep(store, START + 3 * HOUR)
    held = Held()
    feed = feed_to(target, held)
    thread = threading.Thread(target=carried, args=(feed,))
    thread.start()
    try:
        assert held.asked.wait(10)
        put(store, [reading(at_ms=START + 4 * HOUR)])
        other = connect_writer(store_path(data_dir), busy_ms=0)
        busy, _, _ = other.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        other.close()
        assert busy == 0, "nobody holds a snapshot meanwhile"
    finally:
        held.go_on.set()
        thread.join(30)
