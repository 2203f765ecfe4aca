"""Charts of a past that the store no longer holds: from a real InfluxDB, or with the reason why not."""

import datetime
from zoneinfo import ZoneInfo

import pytest

from collector.influx.feed import Feed
from collector.influx.marks import Marks
from collector.influx.sender import Sender
from collector.influx.target import target_of
from collector.site import parse_site
from dashboard import queries
from tests.collector.influx.conftest import retained
from tests.dashboard.conftest import seen
from tests.dashboard.hospital import site_text
from tests.influx_server import BOTH_TOKEN


@pytest.fixture
def copied(tmp_path, influx_server, hospital):
    """A hospital whose readings are all on the server and, as minutes and hours only, here; the front to break."""
    influx_server.front.faults.clear()
    (tmp_path / "token").write_text(BOTH_TOKEN)
    table = (
        f'[influx]\nurl = "{influx_server.url}"\nbucket = "{influx_server.new_database()}/autogen"\n'
        f'token_file = "{tmp_path / "token"}"\n'
    )
    one = hospital(units=2, minutes=25 * 60 + 10, text=site_text(2) + table)
    store, data = one.store, tmp_path / "data"
    with store.transaction():
        store.set_status("site", {"path": str(tmp_path / "site.toml"), "text": site_text(2) + table})
    now_ms = queries.wall_ms()
    for work in (store.roll_up, store.pack):
        while work(now_ms):
            pass
    target = target_of(parse_site(site_text(2) + table), None)
    assert target is not None
    marks = Marks(data, target.key)
    feed = Feed(target.facility, data, Sender(target), marks, now_ms=queries.wall_ms)
    while not feed.state().get("sent") or feed.state()["waiting"]:
        feed.turn()
    marks.close()
    retained(store, now_ms)
    return one


def yesterday(screen, unit):
    """A unit's page, its charts over the last hour of yesterday, which is gone here at any time of day."""
    day = datetime.datetime.now(ZoneInfo("Africa/Nairobi")).date() - datetime.timedelta(days=1)
    return screen("unit", unit=unit).date_input(key="chart-day").set_value(day).run()


def test_the_past_is_drawn_from_afar_where_it_is_gone_here(copied, screen, tmp_path):
    said = seen(yesterday(screen, "unit-01"))
    assert "in part from the InfluxDB" in said
    assert "Shown is only" not in said


def test_without_an_answer_the_screen_says_what_it_shows_instead(copied, screen, tmp_path):
    queries._readback.cache_clear()
    (tmp_path / "token").write_text("nobody's")
    said = seen(yesterday(screen, "unit-01"))
    assert "Shown is only what the store here still holds" in said
    assert "nobody's" not in said


def test_charts_can_end_with_a_day_long_ago(hospital, screen):
    hospital(units=2)
    app = screen("unit", unit="unit-01")
    app.date_input(key="chart-day").set_value(datetime.date(2020, 1, 1)).run()
    assert "No readings of unit-01 in this span." in seen(app)
