"""What a broker promises at its own kill -9: how many of the readings it acknowledged it still has afterwards.

    python -m tests.bench.broker_kill --kills 20

Each broker runs by the configuration that `sieveward site keys` makes (TLS, accounts). Each round a bridge publishes
with a window of readings on their way, the broker is killed at a random moment, started again, and the collector's
session is read to its end. "mosquitto-by-the-second" is Mosquitto as many have it, without saving on every change.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from collections import deque
from contextlib import closing
from pathlib import Path

from collector.broker import BrokerError
from tests.bench.each_broker import Row, show
from tests.doors import Doors, Guest
from tests.waiting import wait_for

TOPIC = "oxygen/v1/lake/unit/u1/readings"
WINDOW = 200
KILL_S = (0.3, 2.0)
QUIET_S = 2.5  # nats-server sends what was on its way again after a second


class Feed(threading.Thread):
    """Publishes numbered readings as fast as the broker acknowledges them, until the connection is gone."""

    def __init__(self, guest: Guest, first: int) -> None:
        super().__init__()
        self.guest, self.acknowledged = guest, set[int]()
        self._next, self._waiting, self._acks = first, dict[int, int](), deque[int]()
        guest.client.on_publish = lambda _c, _d, mid, *_: self._acks.append(mid)

    def run(self) -> None:
        while not self.guest.losses:
            self._settle()
            if len(self._waiting) >= WINDOW:
                time.sleep(0.0005)
                continue
            mid = self.guest.client.publish(TOPIC, str(self._next).encode(), 1).mid
            self._waiting[mid] = self._next
            self._next += 1
        self._settle()

    def _settle(self) -> None:
        for _ in range(len(self._acks)):
            self.acknowledged.add(self._waiting.pop(self._acks.popleft()))


def read_all(doors: Doors) -> list[int]:
    """Everything the broker has kept for the collector, in the order in which it comes."""
    reader = Guest(doors.account("collector"), clean=False)
    seen = 0
    quiet_s = time.monotonic() + QUIET_S
    while time.monotonic() < quiet_s:
        if len(reader.heard) != seen:
            seen, quiet_s = len(reader.heard), time.monotonic() + QUIET_S
        time.sleep(0.05)
    reader.close()
    return [int(payload) for _, payload in reader.heard]


def one_round(doors: Doors, first: int, kill_s: float) -> tuple[set[int], list[int], float]:
    """The numbers acknowledged before the kill, those read after it, and for how long was published."""
    assert doors.broker is not None
    guest = Guest(doors.account("bridge-a", client_id=f"feed-{first}"), window=0)
    feed = Feed(guest, first)
    began_s = time.monotonic()
    feed.start()
    time.sleep(kill_s)
    doors.broker.kill()
    spent_s = time.monotonic() - began_s
    wait_for(lambda: guest.losses, 10, "the end of the connection")
    feed.join()
    guest.close()
    doors.broker.start()
    return feed.acknowledged, read_all(doors), spent_s


def measure(name: str, folder: Path, kills: int, seed: int) -> Row:
    """A row of figures over so many kills."""
    folder.mkdir()
    doors = Doors("nats" if name == "nats" else "mosquitto", folder)
    if name == "mosquitto-by-the-second":
        conf = doors.keys / "broker" / "mosquitto.conf"
        conf.write_text(conf.read_text().replace("autosave_on_changes true", "autosave_on_changes false"))
    moment, acked, lost, disordered, spent_s, hit = random.Random(seed), 0, 0, 0, 0.0, 0  # noqa: S311 - no secret
    with closing(doors.start()):
        session = Guest(doors.account("collector"), clean=False)
        session.ask(TOPIC)
        session.close()
        for number in range(kills):
            known, read, took_s = one_round(doors, number * 1_000_000, moment.uniform(*KILL_S))
            missing = known - set(read)
            acked, lost, spent_s = acked + len(known), lost + len(missing), spent_s + took_s
            first_seen = list(dict.fromkeys(read))
            disordered += first_seen != sorted(first_seen)
            hit += bool(missing)
            sys.stderr.write(f"{name}: kill {number + 1} of {kills}: {len(known)} acknowledged, {len(missing)} lost\n")
    return {
        "broker": name, "kills": str(kills), "acknowledged": str(acked), "lost": str(lost),
        "kills_with_loss": str(hit), "rounds_out_of_order": str(disordered), "acknowledged_per_s": acked / spent_s,
    }  # fmt: skip


def main() -> None:
    """Measure each broker that is installed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--broker", choices=["nats", "mosquitto", "mosquitto-by-the-second"], action="append")
    asked = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.broker or ["nats", "mosquitto", "mosquitto-by-the-second"]:
            try:
                rows.append(measure(name, Path(folder) / name, asked.kills, asked.seed))
            except BrokerError as error:
                sys.stderr.write(f"left out: {error}\n")
    show(rows)


if __name__ == "__main__":
    main()
