"""How fast a copy to InfluxDB catches up after a day away, and what that costs whoever writes the store meanwhile.

A real server (see tests/influx_server.py) on this machine, `sieveward deliver --once` as a process of its own, and a
writer that stores batches as the collector does: alone, then beside the carrier, in turns. Rates do not travel between
machines; the ratio of the writer's commits does. Usage: python -m tests.bench.influx_catch_up [--units N] [--hours H]
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import cast

from collector.cli.says import say
from collector.influx.feed import Feed
from collector.influx.marks import Marks
from collector.influx.readback import Readback
from collector.influx.sender import Sender
from collector.influx.target import Target
from collector.reading import Reading
from collector.store import open_store
from collector.store.readings import HOUR_MS
from collector.store.series import Source
from collector.store.store import Store
from tests.bench.store_layout import START, made_readings
from tests.influx_server import BOTH_TOKEN, Server, running

EVERY_MS = 10_000
FACILITY = "sim-bench"
SITE = '[facility]\nid = "sim-bench"\n[influx]\nurl = "{url}"\nbucket = "{bucket}"\ntoken_file = "token"\n'


def main() -> None:
    """Measure, and say it on stdout."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=50)
    parser.add_argument("--hours", type=int, default=24)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as server:
        home = Path(folder)
        with open_store(home / "data", FACILITY) as store:
            readings = _filled(store, asked.units, asked.hours)
            say(f"{asked.units} units, {asked.hours} h, a reading every {EVERY_MS // 1000} s: {readings} readings")
            _carrier_alone(home, server, readings)
            _beside_a_writer(home, server, store, asked.units, asked.hours)


def _filled(store: Store, units: int, hours: int) -> int:
    count = units * hours * HOUR_MS // EVERY_MS
    made = made_readings(units, count, EVERY_MS)
    while batch := list(islice(made, 5_000)):
        with store.transaction():
            store.add_readings(batch)
    until = START + hours * HOUR_MS
    for work, end in ((store.roll_up, until), (store.pack, until - 6 * HOUR_MS)):
        while work(end):
            pass
    return count


def _target(home: Path, server: Server) -> Target:
    (home / "token").write_text(BOTH_TOKEN)
    return Target(FACILITY, server.url, "", server.new_database() + "/autogen", home / "token")


def _carrier_alone(home: Path, server: Server, readings: int) -> None:
    target = _target(home, server)
    marks, sender = Marks(home / "data", target.key), Sender(target)
    feed = Feed(FACILITY, home / "data", sender, marks, now_ms=lambda: START)
    begun_s, cpu_s, most_s = time.monotonic(), time.process_time(), 0.0
    while not feed.state().get("sent") or feed.state()["waiting"]:
        turn_s = time.monotonic()
        feed.turn()
        most_s = max(most_s, time.monotonic() - turn_s)
    took_s, cpu_s = time.monotonic() - begun_s, time.process_time() - cpu_s
    sent, taken = feed.state()["sent"], server.rows(target.database[0], "SELECT count(purity_pct) FROM reading")
    assert taken[0]["count"] == readings, "every reading is on the server"
    say(f"caught up in {took_s:.1f} s: {sent} lines, {sent / took_s:,.0f} a second; longest turn {most_s:.2f} s")
    # The front, in this process too, is part of it: an upper bound of the carrier's own.
    say(f"cost at most {cpu_s / sent * 1e6:.0f} µs of processor a line, with the test's front")
    marks.close()
    sender.close()
    _read_back(target, readings)


def _read_back(target: Target, readings: int) -> None:
    far, end = Readback(target), START + 400 * 24 * HOUR_MS
    for source, width_ms in (("raw", 1_000), ("minutes", 60_000), ("hours", HOUR_MS)):
        begun_s = time.monotonic()
        found = far.sums("u00001", START, end, cast("Source", source), width_ms)
        say(f"one unit's {source} read back: {len(found.n)} rows in {time.monotonic() - begun_s:.2f} s")
    begun_s = time.monotonic()
    assert sum(1 for _ in far.readings(START, end)) == readings
    say(f"everybody's readings read back for an export: {readings / (time.monotonic() - begun_s):,.0f} a second")


def _running(child: subprocess.Popen[bytes]) -> Callable[[list[float]], bool]:
    return lambda took: child.poll() is None


def _beside_a_writer(home: Path, server: Server, store: Store, units: int, hours: int) -> None:
    at_turn = hours * 360
    alone: list[float] = []
    beside: list[float] = []
    for _ in range(3):
        at_turn = _commits(store, units, at_turn, alone, lambda took: sum(took) < 1.5)
        target = _target(home, server)
        (home / "site.toml").write_text(SITE.format(url=server.url, bucket=target.bucket))
        words = ("deliver", "--once", "--data", str(home / "data"), "--site", str(home / "site.toml"))
        # As in service: the one that watches comes first.
        with subprocess.Popen(["nice", "-n", "10", sys.executable, "-m", "collector.cli", *words],
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:  # fmt: skip
            at_turn = _commits(store, units, at_turn, beside, _running(child))
    for name, found in (("alone", alone), ("beside the carrier", beside)):
        ordered = sorted(found)
        say(f"a batch of 500 stored {name}: median {statistics.median(found) * 1e3:.1f} ms, "
               f"99 % {ordered[int(len(ordered) * 0.99)] * 1e3:.1f} ms, longest {ordered[-1] * 1e3:.0f} ms "
               f"({len(found)} batches)")  # fmt: skip
    say(f"ratio of medians {statistics.median(beside) / statistics.median(alone):.2f} on {os.cpu_count()} cores")


def _commits(store: Store, units: int, at_turn: int, took_s: list[float], go_on: Callable[[list[float]], bool]) -> int:
    """Store batches of 500 until told; a batch is a moment of all units, as often as 500 readings want it."""
    first = len(took_s)
    rounds = max(1, 500 // units)
    while go_on(took_s[first:]):
        batch = [reading for turn in range(at_turn, at_turn + rounds) for reading in _moment(units, turn)]
        at_turn += rounds
        begun_s = time.monotonic()
        with store.transaction():
            store.add_readings(batch)
        took_s.append(time.monotonic() - begun_s)
        time.sleep(0.02)  # a batch every 20 ms is 25,000 readings a second: ten times a large hospital's
    return at_turn


def _moment(units: int, turn: int) -> Iterator[Reading]:
    for reading in made_readings(units, units):
        reading.time_ms += turn * EVERY_MS
        yield reading


if __name__ == "__main__":
    main()
