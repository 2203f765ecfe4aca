"""The copy against a real InfluxDB 2, for whoever has one: set INFLUX_URL, INFLUX_TOKEN, INFLUX_ORG and INFLUX_BUCKET.

Without them it is skipped, in CI too: there is no such server among Debian's packages. What it asks is what the tests
beside tests/influx_server.py cannot know of version 2: its own `/api/v2/write`, its InfluxQL over a mapped bucket, and
how it refuses a line. Source: InfluxDB 2 documentation, "Write data with the API" (status codes of /api/v2/write) and
"Query data with InfluxQL" (database and retention policy mapping). The token must be able to write and read.
"""

import os
import uuid

import pytest

from collector.influx.feed import Feed
from collector.influx.marks import Marks
from collector.influx.readback import Readback
from collector.influx.sender import Refused, Sender
from collector.influx.target import Target
from collector.store import history, open_store
from tests.collector.store.samples import HOUR, START, put, run_of, upkeep

NEEDED = ("INFLUX_URL", "INFLUX_TOKEN", "INFLUX_BUCKET")
pytestmark = pytest.mark.skipif(not all(map(os.environ.get, NEEDED)), reason=f"set {', '.join(NEEDED)} to ask a server")


@pytest.fixture
def target(tmp_path):
    """The bucket, under a facility's name that nobody has used."""
    (tmp_path / "token").write_text(os.environ["INFLUX_TOKEN"])
    url, org, bucket = (os.environ.get(name, "") for name in ("INFLUX_URL", "INFLUX_ORG", "INFLUX_BUCKET"))
    return Target(f"sim-{uuid.uuid4().hex[:12]}", url.rstrip("/"), org, bucket, tmp_path / "token")


def test_what_is_copied_comes_back_and_twice_is_once(tmp_path, target):
    data = tmp_path / "data"
    with open_store(data, target.facility, durable=False) as store:
        put(store, run_of(2))
        upkeep(store, START + 2 * HOUR)
        marks = Marks(data, target.key)
        feed = Feed(target.facility, data, Sender(target), marks, now_ms=lambda: START)
        for _ in range(2):
            feed.turn()
            marks.forget()
            feed._streams = ()
        found = list(Readback(target).readings(START, START + 2 * HOUR))
        assert found == list(history.iter_readings(store.conn))
        hour = Readback(target).sums("alder", START, START + 2 * HOUR, "hours", HOUR)
        assert hour.n.tolist() == [180, 180]
        assert feed.state()["dropped"] == 0
        marks.close()


def test_a_line_that_is_none_is_refused(target):
    with pytest.raises(Refused):
        Sender(target).send(["this is no line"])
