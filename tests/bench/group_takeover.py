"""A group of collectors on a cluster of three nodes, all on this machine: how long takeovers take, and how fast it is.

Takeovers: four facilities under a steady load, two collectors; one is killed (kill -9), and what is timed is until
the other is at work for each of its facilities, and until each of their wards has heard of an alert. Then the killed
one is started again, and what is timed is until it has its share. A node is killed, and what is timed is until readings
of every facility are stored again. Rates: what waits in the cluster for four facilities is read by one collector, by
two and by three, in turns; the ratio is to one. All share this machine's cores with the nodes, so beside the rates
stands what a reading costs in processor time: where that does not grow, more machines are that much faster.
Moments are known to a second.
Usage: python -m tests.bench.group_takeover [KILLS [READINGS_PER_FACILITY]], 0 to leave that part out
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any, NamedTuple

from tests.bench.each_broker import Row, show
from tests.cluster import HOST, Cluster, running_cluster
from tests.integration.group_house import Ears, Group, pause
from tests.waiting import wait_for

FACILITIES = 4
SPEED = 40.0
MORE = 100  # readings of a facility: more than were on their way
RATE_UNITS = 100
MEMBERS = (1, 2, 3, 2, 1)  # in turns, so that a machine that grows slower favours none


def takeovers(cluster: Cluster, folder: Path, kills: int) -> Row:
    """Seconds: the median and the longest of each."""
    group = Group(cluster, folder, FACILITIES, SPEED)
    took: dict[str, list[float]] = {"at_work": [], "alert": [], "share": [], "node": []}
    try:
        group.start("a")
        group.start("b")
        group.wait_owned({"a", "b"})
        ears = Ears(cluster)
        group.load()
        pause(3)
        for kill in range(kills):
            _one_kill(group, ears, "ab"[kill % 2], took)
        ears.close()
        took["node"].append(_one_node(group))
        group.finish()
        sent = {name: len(sender.sent) for name, sender in group.senders.items()}
        lost = sum(sent.values()) - sum(group.stored(name) for name in group.facilities)
        assert lost == 0, f"{lost} readings lost"
    finally:
        group.close()
    row: Row = {"of": "takeover_s", "kills": float(kills), "readings": float(sum(sent.values()))}
    for name, each_s in took.items():
        row |= {f"{name}_median": statistics.median(each_s), f"{name}_longest": max(each_s)}
    return row


def _one_kill(group: Group, ears: Ears, name: str, took: dict[str, list[float]]) -> None:
    mine = [facility for facility, owner in group.owners().items() if owner == name]
    killed_s = time.monotonic()
    group.kill(name)
    wait_for(lambda: len(group.owners()) == FACILITIES, 60, "the other at work")
    took["at_work"].append(time.monotonic() - killed_s)
    for facility in mine:
        heard_s = wait_for(lambda f=facility: ears.first_after(killed_s, f), 60, f"an alert of {facility}")
        took["alert"].append(heard_s - killed_s)
    began_s = time.monotonic()
    group.start(name)
    group.wait_owned({"a", "b"})
    took["share"].append(time.monotonic() - began_s)


def _one_node(group: Group) -> float:
    """Until readings of every facility are stored again, after the node of the first one's collector was killed."""
    where = group.status(group.facilities[0])["broker"]
    node = next(node for node in group.cluster.nodes if where == f"{node.host}:{node.port}")
    node.kill()
    killed_s = time.monotonic()
    before = {facility: group.status(facility)["readings"] for facility in group.facilities}
    wait_for(lambda: all(group.status(f)["readings"] > n + MORE for f, n in before.items()), 60, "readings again")
    took_s = time.monotonic() - killed_s
    node.start()
    return took_s


class Drained(NamedTuple):
    """Readings a second, and microseconds of processor time a reading of all collectors and of all nodes."""

    per_s: float
    collectors_us: float
    nodes_us: float


def rate_site(facility: str) -> str:
    rows = "".join(f'[[unit]]\nid="u{i:05d}"\nmodel="m"\nward="w"\n' for i in range(RATE_UNITS))
    return f'[facility]\nid="{facility}"\n[[ward]]\nid="w"\n[[model]]\nid="m"\n{rows}'


def rates(cluster: Cluster, folder: Path, count: int) -> list[Row]:
    """Readings a second over all facilities, by how many collectors; the ratio to one."""
    found: dict[int, list[Drained]] = {}
    for turn, members in enumerate(MEMBERS):
        group = Group(cluster, folder / str(turn), FACILITIES, 1.0, rate_site, prefix=f"sim-t{turn}f")
        try:
            _with_members(group, members)
            group.kill_all()  # the cluster keeps a session of each facility, and the table who has it
            _feed(group, count, turn)
            found.setdefault(members, []).append(_drain(group, members, count))
            group.end()
        finally:
            group.close()
    one = _median(found[1])
    return [{"of": "rate", "collectors": float(n), **_median(each),
             "ratio_to_one": _median(each)["per_s"] / one["per_s"]} for n, each in sorted(found.items())]  # fmt: skip


def _median(each: list[Drained]) -> dict[str, float]:
    return {name: statistics.median(getattr(one, name) for one in each) for name in Drained._fields}


def _with_members(group: Group, members: int) -> None:
    names = [f"c{n}" for n in range(members)]
    for name in names:
        group.start(name)
    group.wait_owned(set(names), 60)


def _feed(group: Group, count: int, turn: int) -> None:
    """Readings for every facility into the cluster, where they wait."""
    for n, facility in enumerate(group.facilities):
        port = group.cluster.nodes[n % 3].port
        argv = [HOST, str(port), facility, str(RATE_UNITS), str(count), "0"]
        subprocess.run([sys.executable, "-m", "tests.bench.feeder", *argv], input="\n", text=True, check=True,
                       stdout=subprocess.DEVNULL)  # fmt: skip
    sys.stderr.write(f"turn {turn + 1} of {len(MEMBERS)}: {count * FACILITIES} readings wait\n")


def _drain(group: Group, members: int, count: int) -> Drained:
    """Starts the collectors, each with its share as before, and times from the first reading to the last one stored."""
    for n in range(members):
        group.start(f"c{n}")
    pids = {process.pid for process in group.members.values()}

    def read() -> list[dict[str, Any]]:
        """How they stand, each written once a second, with the moment."""
        return [one for one in map(group.status, group.facilities) if one.get("pid") in pids]

    began = wait_for(lambda: [one for one in read() if one["messages"]], 60, "the first readings")
    nodes = {node.pid for node in group.cluster.nodes}
    cpu_s = _cpu_s(pids), _cpu_s(nodes)
    first, began_ms = sum(one["messages"] for one in began), min(one["wall_ms"] for one in began)
    ended = wait_for(lambda: _all_read(read(), count), 300, "the last readings")
    assert len({one["pid"] for one in ended}) == members, "all of them read"
    last_ms = max(one["wall_ms"] for one in ended)
    got = count * FACILITIES - first
    return Drained(
        got / (last_ms - began_ms) * 1000, (_cpu_s(pids) - cpu_s[0]) / got * 1e6, (_cpu_s(nodes) - cpu_s[1]) / got * 1e6
    )


def _cpu_s(pids: set[int]) -> float:
    """Processor time of processes so far (proc(5): the 14th and 15th field of stat, in clock ticks)."""
    fields = [Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split() for pid in pids]
    return sum(int(each[11]) + int(each[12]) for each in fields) / os.sysconf("SC_CLK_TCK")


def _all_read(now: list[dict[str, Any]], count: int) -> list[dict[str, Any]] | None:
    return now if sum(one["messages"] for one in now) >= count * FACILITIES else None


if __name__ == "__main__":
    kills, count = int((sys.argv[1:2] or ["6"])[0]), int((sys.argv[2:3] or ["20000"])[0])
    with tempfile.TemporaryDirectory() as name, running_cluster(Path(name) / "cluster") as cluster:
        rows = [takeovers(cluster, Path(name) / "takeovers", kills)] if kills else []
        rows += rates(cluster, Path(name) / "rates", count) if count else []
    show(rows)
