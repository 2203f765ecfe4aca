"""Broker, collector, bridge, dashboard and a person at it as real processes under load, each of which may be killed;
and after that, what must be true of the record.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from itertools import groupby
from pathlib import Path

import msgspec
from websockets.exceptions import WebSocketException

from collector.broker import Broker, free_port
from collector.clock import ScaledClock
from collector.reading import Reading
from collector.rules.engine import RulesEngine
from collector.site import parse_site
from collector.store.history import open_reader, readings
from collector.store.journal import verify
from dashboard import launch
from tests.integration.bridge_on_line import BridgeOnLine, SpeakingLine
from tests.integration.hand_at_work import Hand
from tests.integration.judged import Judged, read_back
from tests.integration.onlooker import look
from tests.integration.steady_sender import SteadySender
from tests.integration.test_kill import SPEED, STEP_MS, at_work, caught_up
from tests.waiting import wait_for

FACILITY = "sim-house"
BRIDGED = 8  # units behind the bridge, beside those that speak for themselves
CYCLE = 480  # steps of a unit's course: 40 minutes of facility time, 24 s of the wall's
#: The silence of a broker that is away is its own; what is due goes by the day, not by readings.
NOT_OF_READINGS = {"readings-absent", "verification-due", "service-due"}
#: What follows from a long estimate: one reading less, and a later word of it may be another one.
OF_ESTIMATES = {"shutdown-expected", "capacity-falling", "capacity-unproven"}
MOVED_MS = 60_000  # of facility time: 0.6 s of the wall's
END_MS = 600_000  # of facility time: what happens so near the end may be judged or not yet
READY_S = 60.0  # on a busy machine a dashboard takes ten seconds to come up


def site_text(units: int) -> str:
    """A site of so many units in one ward."""
    rows = "".join(f'[[unit]]\nid="u{i:03d}"\nmodel="m"\nward="w"\n' for i in range(units))
    return f'[facility]\nid="{FACILITY}"\n[[ward]]\nid="w"\n[[model]]\nid="m"\n{rows}'


def course(unit: int, step: int, at_ms: int) -> Reading:
    """Units fall to red and recover, are turned up too far, lose their flow, or lose their supply: again and again."""
    place, kind = (step + unit * 37) % CYCLE, unit % 4
    name = f"u{unit:03d}"
    if kind == 0 and place < 100:
        return Reading(name, at_ms, max(93.0 - place * 0.28, 76.2), 4.0, 340.0, volts=230.0)
    if kind == 1 and place < 100:
        return Reading(name, at_ms, 93.5, 6.5, 340.0, volts=230.0)
    if kind == 2 and place < 60:
        return Reading(name, at_ms, 93.5, 0.0, 340.0, volts=230.0)
    if kind == 3 and place < 40:
        return Reading(name, at_ms, power_w=0.0, volts=0.0)
    return Reading(name, at_ms, 93.5, 4.0, 340.0, volts=230.0)


Row = tuple[int, str, str, str]  # when, unit, condition, event


class House:
    """Everything at work; `kill` kills one of NAMES and starts it anew, `check` says what is wrong with the record."""

    NAMES = ("collector", "broker", "dashboard", "hand", "bridge")

    def __init__(self, folder: Path, start_broker: Callable[[Path], Broker], units: int) -> None:
        self.data, self.alone, self.units = folder / "data", units, units + BRIDGED
        self._site_file, self._judged = folder / "site.toml", folder / "judged.jsonl"
        self._site_file.write_text(site_text(self.units), encoding="utf-8")
        wall_ms = time.time_ns() // 1_000_000
        self.clock = ScaledClock(wall_ms, wall_ms, SPEED)
        self.kills = dict.fromkeys(self.NAMES, 0)
        self.spared: frozenset[str] = frozenset()
        self.broker = start_broker(folder)
        self._log = (folder / "children.log").open("ab")
        self._collector = self._start_collector()
        wait_for(lambda: at_work(self.data, self._collector.pid) and caught_up(self.data), READY_S, "the collector")
        self._port = free_port()
        self._dashboard = self._start_dashboard()
        self._hand = Hand(self.data, "hand")
        self._start_ms = self.clock.now_ms()
        self.sender = SteadySender(self.broker.host, self.broker.port, FACILITY, self._step, self._wait_s)
        self.line = SpeakingLine(self._line_reading, lambda n: self._wait_s(n // BRIDGED) <= 0)
        names = [f"u{unit:03d}" for unit in range(self.alone, self.units)]
        where = f"{self.broker.host}:{self.broker.port}"
        self._bridge = BridgeOnLine(
            folder / "bridge", FACILITY, where, self.line, names, STEP_MS, self._start_ms, self._log
        )

    def _step(self, step: int) -> list[Reading]:
        at_ms = self._start_ms + step * STEP_MS
        return [course(unit, step, at_ms) for unit in range(self.alone)]

    def _line_reading(self, n: int) -> Reading:
        step, unit = divmod(n, BRIDGED)
        reading = course(self.alone + unit, step, self._start_ms + step * STEP_MS)
        purity_pct = None if reading.purity_pct is None else round(reading.purity_pct, 1)  # as it stands on the line
        return msgspec.structs.replace(reading, purity_pct=purity_pct)

    @property
    def sent(self) -> list[Reading]:
        """All readings, those that the bridge took in with them, in the order of their times."""
        bridged = [self._line_reading(n) for n in range(self.line.next)]
        return sorted([*self.sender.sent, *bridged], key=lambda reading: (reading.time_ms, reading.unit))

    def _wait_s(self, step: int) -> float:
        return self.clock.wall_delay_s(self._start_ms + step * STEP_MS)

    def _start_collector(self) -> subprocess.Popen[bytes]:
        times = f"{self.clock.wall_ms},{self.clock.at_ms},{self.clock.speed}"
        where = f"{self.broker.host}:{self.broker.port}"
        argv = [sys.executable, "-m", "tests.integration.collect_child", str(self._site_file), where, str(self.data)]
        argv += [times, str(self._judged)]
        return subprocess.Popen(argv, stderr=self._log)

    def _start_dashboard(self) -> subprocess.Popen[bytes]:
        argv, env = launch.command(self.data, self._port)
        return subprocess.Popen(argv, env=os.environ | env, stdout=self._log, stderr=self._log)

    def ready(self) -> None:
        """Return when everything is at work: the collector subscribed, the bridge connected, the dashboard showing."""
        wait_for(lambda: at_work(self.data, self._collector.pid), READY_S, "the collector at work")
        wait_for(lambda: self._bridge.at_work, READY_S, "the bridge")
        wait_for(lambda: shows(self._port), READY_S, "the dashboard")

    def kill(self, name: str) -> None:
        """kill -9, and start it again; nothing happens to one that is spared."""
        if name in self.spared:
            return
        self.kills[name] += 1
        if name == "collector":
            self._collector.kill()
            self._collector.wait()
            self._collector = self._start_collector()
        elif name == "broker":
            self.broker.kill()
            self.broker.start()
        elif name == "dashboard":
            self._dashboard.kill()
            self._dashboard.wait()
            self._dashboard = self._start_dashboard()
        elif name == "bridge":
            self._bridge.kill()
        else:
            self._hand.kill()
            self._hand.start()

    def finish(self) -> None:
        """Send no more, let the collector read the rest, and stop everything."""
        self.sender.finish()
        self.line.end_behind(BRIDGED)
        self._hand.kill()
        wait_for(lambda: at_work(self.data, self._collector.pid), READY_S, "the last collector at work")
        wait_for(lambda: self.line.all_said, READY_S, "the bridge to read its line")
        total = len(self.sent)
        try:
            wait_for(lambda: self._stored() >= total, 300, "the last readings in the store")
        finally:
            self._log.write(f"{self._stored()} of {total} readings are stored\n".encode())
        assert self._bridge.end() == 0
        self._collector.terminate()
        assert self._collector.wait(30) == 0

    def close(self) -> None:
        """End whatever still runs."""
        self.sender.stop.set()
        self._hand.kill()
        self._bridge.close()
        for process in (self._collector, self._dashboard):
            process.kill()
            process.wait()
        self.broker.stop()
        self._log.close()

    def _stored(self) -> int:
        conn = open_reader(self.data)
        try:
            return sum(len(readings(conn, f"u{unit:03d}", 0, 2**53).time_ms) for unit in range(self.units))
        finally:
            conn.close()

    # -- what must be true -----------------------------------------------------------------------------------------

    def check(self) -> dict[str, int]:
        """Figures, of which every `lost` and `doubled` must be 0."""
        conn = open_reader(self.data)
        try:
            sent = self.sent
            figures = {
                "readings": len(sent), "readings_bridged": self.line.next, "readings_said_again": self.line.again,
                "readings_lost": 0, "readings_doubled": 0,
            }  # fmt: skip
            for unit in range(self.units):
                mine = {r.time_ms: r.volts for r in sent if r.unit == f"u{unit:03d}"}
                found = readings(conn, f"u{unit:03d}", 0, 2**53)
                stored = dict(zip(found.time_ms.tolist(), found.volts.tolist(), strict=True))
                figures["readings_lost"] += sum(stored.get(at) != volts for at, volts in mine.items())
                figures["readings_doubled"] += len(found.time_ms) - len(stored)
            figures |= self._transitions(conn) | self._promises(conn) | self._bridge.faults()
            figures["journal_broken"] = int(not verify(conn).ok)
        finally:
            conn.close()
        return figures

    def _transitions(self, conn) -> dict[str, int]:
        rows = conn.execute("SELECT at_ms, unit, condition, body FROM journal WHERE kind = 'condition'").fetchall()
        until_ms = min(self.sender.sent[-1].time_ms, self._line_reading(self.line.next - 1).time_ms) - END_MS
        found = [(at, unit, condition, json.loads(body)["event"]) for at, unit, condition, body in rows]
        doubled = len(found) - len(set(found))
        found = [row for row in found if row[2] not in NOT_OF_READINGS and row[0] < until_ms]
        judged = read_back(self._judged)
        meant = [row for row in self._undisturbed() if row[0] < until_ms]
        exact = [row for row in self._undisturbed(judged) if row[0] < until_ms]
        bridged = sum(row[1] >= f"u{self.alone:03d}" for row in meant)
        return {
            "transitions": len(meant), "transitions_bridged": bridged, "transitions_doubled": doubled,
            **compared("transitions", *(not_of_estimates(rows) for rows in (meant, found))),
            "readings_unjudged": len(self.sent) - len(judged), **compared("as_judged", exact, found),
        }  # fmt: skip

    def _undisturbed(self, judged: Judged | None = None) -> list[Row]:
        """What the same readings, or those that were judged, lead to where nobody is killed."""
        engine, events = RulesEngine(parse_site(site_text(self.units))), []
        for at_ms, together in groupby(self.sent, key=lambda reading: reading.time_ms):
            for reading in together:
                if judged is None or (reading.unit, at_ms) in judged:
                    events += engine.read(reading, at_ms)
            events += engine.tick(at_ms)
        return [(e.time_ms, e.unit, e.condition, e.event) for e in events]

    def _promises(self, conn) -> dict[str, int]:
        rows = conn.execute("SELECT seq, body FROM journal WHERE origin = 'dashboard'").fetchall()
        written = [(seq, json.loads(body)["mark"]) for seq, body in rows]
        marks = [mark for _, mark in written]
        return {
            "promises": len(self._hand.promised), "promises_lost": len(set(self._hand.promised) - set(written)),
            "promises_doubled": len(marks) - len(set(marks)),
        }  # fmt: skip


def compared(name: str, meant: list[Row], found: list[Row]) -> dict[str, int]:
    """How many changes of alarms are missing, nobody meant, or came at another moment; the first are said."""
    lost, other = set(meant) - set(found), set(found) - set(meant)
    moved = pairs_moved(lost, other)
    for row in sorted(lost | other)[:20]:
        sys.stderr.write(f"{name} {'other' if row in other else 'lost'}: {row}\n")
    reworded = sum(
        row[3] == "updated" for row in other
    )  # of an alarm that stands: units' order among each other counts
    figures = {"lost": len(lost), "other": len(other) - reworded, "moved": moved, "reworded": reworded}
    return {f"{name}_{what}": n for what, n in figures.items()}


def not_of_estimates(rows: list[Row]) -> list[Row]:
    """Without what one reading less may change much later; against what was judged these are compared, too."""
    return [row for row in rows if row[2] not in OF_ESTIMATES]


def pairs_moved(lost: set[Row], other: set[Row]) -> int:
    """Take out of both what is the same change a little earlier or later; how many there were.

    After a broker's death its first messages may come behind newer ones; the rules leave those out, and what hangs on
    the very reading comes a reading or two later.
    """
    moved = 0
    for row in sorted(lost):
        near = [one for one in other if one[1:] == row[1:] and abs(one[0] - row[0]) <= MOVED_MS]
        if near:
            lost.discard(row)
            other.discard(min(near))
            moved += 1
    return moved


def shows(port: int) -> bool:
    """Whether the dashboard serves its first page."""
    try:
        return look(port) > 0
    except (OSError, WebSocketException):
        return False


def faults(figures: dict[str, int]) -> dict[str, int]:
    """Those figures that must be 0 and are not."""
    bad = ("_lost", "_doubled", "_other", "_broken")
    return {name: n for name, n in figures.items() if name.endswith(bad) and n}
