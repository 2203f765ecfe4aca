"""`kill -9` of collector, broker, bridge, dashboard and whoever writes at it, at random under load.

Then the record is checked. Nothing acknowledged, and nothing that a bridge had on its disk, may be missing, no alarm
may change twice or not at all, nothing that a screen said it had written may be gone.
Usage: python -m tests.bench.kill_all [--kills N] [--units N] [--seed N] [--broker nats|mosquitto]
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from pathlib import Path

from collector.broker import start_mosquitto, start_nats
from tests.bench.each_broker import show
from tests.integration.whole_house import House, faults

PAUSE_S = (0.0, 2.0)  # between everything being at work again and the next kill
#: Mosquitto acknowledges before it writes: what it said last is lost with it, and this says how much.
STARTS = {"nats": start_nats, "mosquitto": start_mosquitto}


def run(folder: Path, kills: int, units: int, seed: int, broker: str) -> dict[str, float | str]:
    """Kill so often; the figures of the record, and how many of each were killed."""
    rng = random.Random(seed)  # noqa: S311 - no secret
    pause, began_s = threading.Event(), time.monotonic()
    house = House(folder, STARTS[broker], units)
    try:
        for number in range(kills):
            house.ready()
            pause.wait(rng.uniform(*PAUSE_S))
            for name in rng.sample(house.NAMES, rng.choice((1, 1, 1, 2))):  # sometimes two in the same moment
                house.kill(name)
            sys.stderr.write(f"\r{number + 1} of {kills} ")
        house.ready()
        house.finish()
        figures = house.check()
    finally:
        house.close()
    killed = {f"killed_{name}": n for name, n in house.kills.items()}
    return {"broker": house.broker.name, **killed, **figures, "took_s": round(time.monotonic() - began_s, 1)}


def main() -> int:
    """0 when nothing was lost or doubled."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--units", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--broker", choices=STARTS, default="nats")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        row = run(Path(name), args.kills, args.units, args.seed, args.broker)
    show([row])
    return int(bool(faults({name: int(n) for name, n in row.items() if not isinstance(n, str)})))


if __name__ == "__main__":
    sys.exit(main())
