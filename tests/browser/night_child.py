"""A collector whose clock stands until it is moved: SITE HOST:PORT DATA AT_MS; says `at MS` when that is judged.

A line `N MS` on stdin: when N readings have come, time goes on to MS. So nothing that happens hangs on how fast this
machine is. The store's clock stands as well, so a screen shows the same moment. An empty stdin ends it.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path
from queue import Empty, SimpleQueue

from collector.cli.collect import stop_on_signals
from collector.door import Door
from collector.live import Collector
from collector.site import load_site
from collector.store import open_store

TURN_S = 0.02


class HandMoved:
    """Facility time that another process moves."""

    speed = 0.0

    def __init__(self, at_ms: int) -> None:
        self.at_ms = at_ms

    def now_ms(self) -> int:
        return self.at_ms

    def setting(self) -> dict[str, float]:
        return {"wall_ms": time.time_ns() // 1_000_000, "at_ms": self.at_ms, "speed": self.speed}


def say(at_ms: int) -> None:
    sys.stdout.write(f"at {at_ms}\n")
    sys.stdout.flush()


def listen(moves: SimpleQueue[tuple[int, int]], stop: threading.Event) -> None:
    for line in sys.stdin:
        readings, at_ms = map(int, line.split())
        moves.put((readings, at_ms))
    stop.set()


def run(collector: Collector, clock: HandMoved, stop: threading.Event) -> None:
    """Turn until the end, and move on when what was to come has come."""
    moves: SimpleQueue[tuple[int, int]] = SimpleQueue()
    threading.Thread(target=listen, args=(moves, stop), daemon=True).start()
    waiting: tuple[int, int] | None = None
    while not stop.is_set():
        collector.turn(TURN_S)
        if waiting is None:
            try:
                waiting = moves.get_nowait()
            except Empty:
                continue
        counts = collector.counts
        if counts["readings"] + counts["duplicates"] + counts["quarantined"] >= waiting[0]:
            clock.at_ms, waiting = waiting[1], None
            collector.turn(0.0)
            with collector.store.transaction():
                collector.store.set_status("clock", clock.setting())
            say(clock.at_ms)


def main(site_file: Path, broker: str, data: Path, at_ms: int) -> None:
    site, clock = load_site(site_file), HandMoved(at_ms)
    host, _, port = broker.rpartition(":")
    with open_store(data, site.facility.id) as store, stop_on_signals() as stop:
        text = site_file.read_text(encoding="utf-8")
        collector = Collector(site, store, Door(host, int(port)), clock, site_path=str(site_file), site_text=text)
        try:
            run(collector, clock, stop)
        finally:
            collector.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]))
