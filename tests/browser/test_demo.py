"""`sieveward demo` as a person sees it: a unit's shut-off is foretold, it goes red and off, the ward knows before."""

import json
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import Page, expect, sync_playwright

from collector.broker import free_port
from collector.store.history import open_reader, status
from collector.store.journal import verify
from collector.topics import signal_topic
from tests.browser.chromium import launch
from tests.waiting import wait_for

SPEED = 240  # the night's unit: amber after 31 s, red after 35 s, off after 47 s
UNIT, WARD, FACILITY = "heron", "medical", "sim-tallgrass"
FIRST_TILE_S = 30.0


class Demo:
    """The demo as a child process, with the address it printed."""

    def __init__(self, data: Path) -> None:
        self.data, self.port = data, free_port()
        argv = ["demo", "--no-browser", "--speed", str(SPEED), "--data", str(data), "--port", str(self.port)]
        self.began_s = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "collector.cli", *argv], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line == f"dashboard: http://127.0.0.1:{self.port}/\n", line or self.end()[1]
        self.url = line.split()[1]

    def end(self) -> tuple[int, str]:
        """Ctrl-C, and what it said."""
        self.process.send_signal(2)
        _, said = self.process.communicate(timeout=40)
        return self.process.returncode, said


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    demo = Demo(tmp_path / "demo data")
    yield demo
    if demo.process.poll() is None:
        demo.end()


class Signals:
    """What the ward was told over MQTT, in order: (conditions of the unit, actions)."""

    def __init__(self, data: Path) -> None:
        conn = open_reader(data)
        host, _, port = (status(conn, "collector") or {})["broker"].rpartition(":")
        conn.close()
        self.told: list[str] = []
        self._lock = threading.Lock()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, "ward-screen", protocol=mqtt.MQTTv311)
        self._client.on_connect = lambda client, *_: client.subscribe(signal_topic(FACILITY, WARD), 1)
        self._client.on_message = self._on_message
        self._client.connect(host, int(port))
        self._client.loop_start()

    def _on_message(self, _client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        with self._lock:
            alerts = json.loads(message.payload)["alerts"]
            self.told += [alert["condition"] for alert in alerts if alert["unit"] == UNIT]

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.browser
@pytest.mark.slow
def test_a_unit_goes_amber_red_and_off_and_the_ward_is_told_before(demo: Demo) -> None:
    with sync_playwright() as playwright, launch(playwright) as page:
        page.goto(demo.url)
        tile = page.locator(f"#tile-{UNIT}")
        expect(tile).to_contain_text("Running", timeout=30_000)
        assert time.monotonic() - demo.began_s < FIRST_TILE_S
        assert "SIMULATED DATA" in page.inner_text("body")
        signals = Signals(demo.data)
        follow_the_fall(page, signals)
        signals.close()
    code, said = demo.end()
    assert (code, "Traceback" in said) == (0, False), said
    check_what_is_left(demo.data)


def follow_the_fall(page: Page, signals: Signals) -> None:
    """Foretold, then red, then off; each with what to do, and told to the ward over MQTT by then."""
    tile = page.locator(f"#tile-{UNIT}")
    expect(tile).to_contain_text(re.compile(r"expected (in|within) [0-9]"), timeout=60_000)
    expect(tile).to_contain_text("Do not turn it up. Make the backup ready")
    expect(tile).to_have_class(re.compile("sw-(low|medium)"))
    assert not {"purity-amber", "purity-red", "purity-shutdown"} & set(signals.told), "the ward is told before amber"
    expect(tile).to_contain_text("Unit output very low", timeout=30_000)
    expect(tile).to_contain_text("Change over to the backup now")
    expect(tile).to_have_class(re.compile("sw-high"))
    expect(tile).to_contain_text("Unit has switched itself off", timeout=60_000)
    wait_for(lambda: "purity-shutdown" in signals.told, 10, "the ward's signal of the switch-off")
    names = ("shutdown-expected", "purity-amber", "purity-red", "purity-shutdown")
    order = [signals.told.index(name) for name in names]
    assert order == sorted(order)


def check_what_is_left(data: Path) -> None:
    """The journal is whole, and every child is gone."""
    conn = open_reader(data)
    assert verify(conn).ok
    pid = (status(conn, "collector") or {})["pid"]
    conn.close()
    assert not Path(f"/proc/{pid}").exists()
