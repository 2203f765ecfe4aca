"""Replaying what `collect` stored gives the same events as `collect` gave, through a real broker and a real store.

But for what is judged from people's rows: what is due, and the backup.
"""

from pathlib import Path

import msgspec
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import ManualClock
from collector.door import Door
from collector.live import Collector
from collector.reading import Reading
from collector.recording import open_writer
from collector.replay import Replay, merged
from collector.rules.entries import CONDITION
from collector.rules.events import event_line
from collector.senml import encode_pack
from collector.site import parse_site
from collector.store import open_store
from collector.store.history import iter_readings, open_reader
from collector.topics import readings_topic
from tests.scenario_files import FOLDER, START_MS, load_scenario, names
from tests.waiting import wait_for

FACILITY = "sim-scenario"
HOUR_MS = 3_600_000
#: What depends on what people wrote down, which no recording holds.
BY_PEOPLES_ROWS = {"service-due", "verification-due", "backup-low"}
SITE_TEXT = (FOLDER / "site.toml").read_text(encoding="utf-8")


def one_long_night() -> list[Reading]:
    """Every scenario file after the other, two hours apart, as one recording."""
    readings = []
    for number, name in enumerate(names()):
        shift_ms = number * 2 * HOUR_MS
        for r in load_scenario(name).readings:
            r.time_ms += shift_ms
            readings.append(r)
    return sorted(readings, key=lambda r: (r.time_ms, r.unit))


def collect(broker, data: Path, readings: list[Reading]) -> list[bytes]:
    """Publish readings moment by moment, the clock following them, and return the events of the journal."""
    site = parse_site(SITE_TEXT)
    clock = ManualClock(START_MS)
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "bridge", protocol=mqtt.MQTTv311)
    client.max_inflight_messages_set(0)
    client.connect(broker.host, broker.port)
    client.loop_start()
    wait_for(client.is_connected, 10, "the publisher's connection")
    with open_store(data, FACILITY) as store:
        collector = Collector(site, store, Door(broker.host, broker.port), clock)
        sent = 0

        def all_read() -> bool:
            collector.turn(0.05)
            return collector.line.subscribed and collector.counts["readings"] == sent

        wait_for(all_read, 10, "the subscription")
        for r in readings:
            if r.time_ms > clock.now_ms():
                wait_for(all_read, 20, "readings sent")
                clock.advance(r.time_ms - clock.now_ms())
            client.publish(readings_topic(FACILITY, r.unit), encode_pack(FACILITY, r.unit, [r]), 1)
            sent += 1
        wait_for(all_read, 20, "the last readings")
        rows = store.journal_after(0, 100_000)
        collector.close()
    client.disconnect()
    client.loop_stop()
    last_ms = readings[-1].time_ms  # the collector's clock went on after it, a recording's does not
    told = [r for r in rows if r.kind == CONDITION and r.at_ms <= last_ms and r.condition not in BY_PEOPLES_ROWS]
    return [msgspec.json.encode(r.body, order="sorted") for r in told]


def in_order_of_keys(line: bytes) -> bytes:
    """The journal keeps its keys sorted."""
    return msgspec.json.encode(msgspec.json.decode(line), order="sorted")


@pytest.mark.slow
def test_replay_of_the_export_gives_the_same_events(nats, tmp_path: Path) -> None:
    live = collect(nats, tmp_path / "data", one_long_night())
    assert len(live) > 50, "the night must be eventful"
    conn = open_reader(tmp_path / "data")
    for name in ("night.csv", "night.parquet", "night.senml.jsonl"):
        with open_writer(tmp_path / name, FACILITY) as writer:
            for reading in iter_readings(conn, 0, 2**53):
                writer.write(reading)
        broken: list[int] = []
        run = Replay(parse_site(SITE_TEXT))
        stream = merged([tmp_path / name], lambda row, _why, broken=broken: broken.append(row), FACILITY)  # type: ignore[misc]
        replayed = [in_order_of_keys(event_line(event)) for event in run.events(stream)]
        assert (set(live) - set(replayed), set(replayed) - set(live)) == (set(), set())
        assert (len(replayed), broken) == (len(live), [])
