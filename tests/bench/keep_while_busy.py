"""What a safe copy costs the collector: how long its commits take while one is made, and while none is.

    python -m tests.bench.keep_while_busy [--mb 200]

A writer commits a batch of 200 readings every 50 ms, as durably as the collector does; the copy is made by a process
of its own, packed and proven. Printed: the store's size, how long the copy took, and the writer's commits with and
without it (median, 99th percentile, longest).
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from collector.reading import Reading
from collector.store import open_store

KEEPER = """
import sys
from pathlib import Path
from collector.safekeeping import Wish, keep_copy
keep_copy(Wish(data=Path(sys.argv[1]), folder=Path(sys.argv[2]), same_disk=True), 1_790_000_000_000)
"""
EVERY_S = 0.05
UNITS = 200


def batch(number):
    """One moment of every unit."""
    at_ms = 1_780_000_000_000 + number * 10_000
    return [Reading(f"u{unit:03d}", at_ms, purity_pct=93.1, flow_lpm=4.5, power_w=330.0) for unit in range(UNITS)]


def fill(store, megabytes):
    """Readings until the store has the size."""
    number = 0
    while store.path.stat().st_size < megabytes * 1e6:
        with store.transaction():
            for _ in range(50):
                store.add_readings(batch(number))
                number += 1
    return number


def timed(store, number, until):
    """Commit at the writer's pace until `until()`; seconds of each commit."""
    took = []
    while not until():
        start = time.perf_counter()
        with store.transaction():
            store.add_readings(batch(number))
        took.append(time.perf_counter() - start)
        number += 1
        time.sleep(max(0.0, EVERY_S - took[-1]))
    return number, took


def said(name, took):
    """A line of figures."""
    took = sorted(took)
    ms = [1000 * value for value in (statistics.median(took), took[int(len(took) * 0.99)], took[-1])]
    sys.stdout.write(
        f"{name:>14}: {len(took)} commits, median {ms[0]:.1f} ms, 99 % {ms[1]:.1f} ms, longest {ms[2]:.1f} ms\n"
    )
    return ms


def main():
    """Fill, measure alone, measure beside a copy."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--mb", type=float, default=200)
    wanted = parser.parse_args().mb
    with tempfile.TemporaryDirectory() as made:
        data, folder = Path(made) / "data", Path(made) / "copies"
        folder.mkdir()
        with open_store(data, "sim-bench") as store:
            number = fill(store, wanted)
            end_s = time.monotonic() + 10
            number, alone = timed(store, number, lambda: time.monotonic() > end_s)
            start = time.monotonic()
            keeper = subprocess.Popen(["nice", "-n", "10", sys.executable, "-c", KEEPER, str(data), str(folder)])
            number, beside = timed(store, number, lambda: keeper.poll() is not None)
            took_s, size = time.monotonic() - start, store.path.stat().st_size
            packed = sum(file.stat().st_size for file in folder.rglob("*.zst"))
        sys.stdout.write(f"store {size / 1e6:.0f} MB, copy {packed / 1e6:.0f} MB, made and proven in {took_s:.1f} s "
                         f"(exit {keeper.returncode})\n")  # fmt: skip
        said("alone", alone)
        said("beside a copy", beside)


if __name__ == "__main__":
    main()
