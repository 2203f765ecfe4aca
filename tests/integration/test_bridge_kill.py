"""`kill -9` of the bridge and of the broker at random under load: what was kept is stored, and once."""

import random
import subprocess
import sys
import threading
import time

import pytest

from collector.clock import WallClock
from collector.door import Door
from collector.live import Collector
from collector.site import parse_site
from collector.store import open_store
from collector.store.history import open_reader, readings
from tests.integration.bridge_child import STEP_MS, UNITS
from tests.waiting import wait_for

FACILITY = "sim-bridge-kill"
BRIDGE_KILLS, BROKER_KILLS, MOMENTS = 8, 4, 900
SITE_TEXT = f'[facility]\nid="{FACILITY}"\n[[ward]]\nid="w"\n[[model]]\nid="m"\n' + "".join(
    f'[[unit]]\nid="u{i:02d}"\nmodel="m"\nward="w"\n' for i in range(UNITS)
)


class Child:
    """The bridge's process, started again after each kill where its spool ends."""

    def __init__(self, broker, spool, first_ms):
        self._argv = [FACILITY, f"{broker.host}:{broker.port}", str(spool), str(first_ms)]
        self.kept, self.idle = 0, False
        self.start()

    def start(self):
        argv = [sys.executable, "-m", "tests.integration.bridge_child", *self._argv, str(self.kept), str(MOMENTS)]
        self.process = subprocess.Popen(argv, stdout=subprocess.PIPE, text=True)
        self._reader = threading.Thread(target=self._read, args=(self.process.stdout,))
        self._reader.start()

    def _read(self, stdout):
        for line in stdout:
            if line.startswith("kept ") and line.endswith("\n"):
                self.kept = max(self.kept, int(line[5:]))
            self.idle = self.idle or line == "idle\n"
        stdout.close()

    def kill(self):
        self.process.kill()
        self.process.wait()
        self._reader.join()


@pytest.fixture
def collecting(broker, tmp_path):
    """A collector in a thread; yields the folder of its store."""
    data, stop, ready = tmp_path / "data", threading.Event(), threading.Event()

    def run():
        with open_store(data, FACILITY) as store:
            collector = Collector(parse_site(SITE_TEXT), store, Door(broker.host, broker.port), WallClock())
            while not stop.is_set():
                collector.turn(0.1)
                if collector.line.subscribed:
                    ready.set()
            collector.close()

    thread = threading.Thread(target=run)
    thread.start()
    assert ready.wait(20)
    yield data
    stop.set()
    thread.join(30)
    assert not thread.is_alive()


def times(data, unit):
    conn = open_reader(data)
    try:
        return readings(conn, f"u{unit:02d}", 0, 2**53).time_ms.tolist()
    finally:
        conn.close()


@pytest.mark.slow
def test_nothing_kept_is_lost_and_nothing_is_there_twice(broker, collecting, tmp_path):
    rng, pause = random.Random(20261125), threading.Event()  # noqa: S311 - no secret
    first_ms = (time.time_ns() // 1_000_000 - 6 * 3_600_000) // STEP_MS * STEP_MS
    child = Child(broker, tmp_path / "spool" / "spool.sqlite3", first_ms)
    # Mosquitto acknowledges before it saves, and may lose the last pack at its own death (test_broker_kill.py).
    kills = ["bridge"] * BRIDGE_KILLS + ["broker"] * (BROKER_KILLS if broker.name.startswith("nats") else 0)
    rng.shuffle(kills)
    for which in kills:
        before = child.kept
        wait_for(lambda before=before: child.kept > before or child.idle, 30, "the bridge at work")
        pause.wait(rng.uniform(0.0, 1.0))  # the moment of the kill is what is random here
        if which == "bridge":
            child.kill()
            child.start()
        else:
            broker.kill()
            pause.wait(rng.uniform(0.0, 0.5))
            broker.restart()
    wait_for(lambda: child.idle, 90, "the bridge's spool to be empty")
    assert child.process.wait(20) == 0
    wait_for(lambda: len(times(collecting, UNITS - 1)) >= MOMENTS, 60, "the last readings in the store")
    expected = [first_ms + i * STEP_MS for i in range(MOMENTS)]
    for unit in range(UNITS):
        wait_for(lambda unit=unit: sorted(times(collecting, unit)) == expected, 30, f"all of unit {unit}, each once")
