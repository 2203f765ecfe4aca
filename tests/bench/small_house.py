"""The whole thing for a small hospital on one machine: memory, processor time and start-up of its real processes.

Broker, collector, `deliver`, and the dashboard with one screen looked at through Streamlit's own socket, 50 units that
report every 10 s. Memory is the sum of each process's proportional share (PSS), so that what they share counts once;
processor time is that of all of them against one core, after the first half minute. Start-up is from the first process
until readings can come in and the first screen is drawn.
Usage: python -m tests.bench.small_house [UNITS [SECONDS]]
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Final

from streamlit.proto.BackMsg_pb2 import BackMsg
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from collector.broker import Broker, start_nats
from collector.broker.ports import free_port
from collector.cli.children import Children
from collector.store import StoreError, open_store
from collector.store.history import open_reader, status
from dashboard import launch
from tests.bench.collector_rate import Feeder, facility_of, site_text
from tests.bench.each_broker import Row, show
from tests.integration.onlooker import look
from tests.waiting import wait_for

SETTLE_S: Final = 20.0
EVERY_S: Final = 10.0
_TICK_S: Final = 1 / os.sysconf("SC_CLK_TCK")


def children_of(parent: int) -> dict[str, int]:
    """Processes below one, by what they are."""
    found: dict[str, int] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with suppress(OSError):
                above = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
                words = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
                if above == parent and (name := _name_of(words)):
                    found[name] = int(entry.name)
    return found


def _name_of(words: str) -> str:
    for mark, name in (("nats-server", "broker"), (" collect ", "collector"), (" deliver ", "deliver"),
                       ("streamlit", "dashboard")):  # fmt: skip
        if mark in words:
            return name
    return ""


def pss_mb(pid: int) -> float:
    """A process's proportional share of memory."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("Pss:"))


def cpu_s(pid: int) -> float:
    """Processor time of a process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * _TICK_S


@contextmanager
def looked_at(port: int) -> Iterator[None]:
    """A page stays open and takes what comes."""
    asked = BackMsg()
    asked.rerun_script.query_string = ""
    with connect(f"ws://127.0.0.1:{port}/_stcore/stream", open_timeout=30, max_size=None) as socket:
        socket.send(asked.SerializeToString())

        def take() -> None:
            with suppress(ConnectionClosed):
                while True:
                    socket.recv()

        reader = threading.Thread(target=take, daemon=True)
        reader.start()
        yield


def _listens(data: Path) -> bool:
    with suppress(StoreError), closing(open_reader(data)) as conn:
        return bool((status(conn, "collector") or {}).get("broker_state") == "connected")
    return False


def _looks(port: int) -> bool:
    with suppress(OSError, TimeoutError):
        return look(port, 5.0) > 0
    return False


def start(broker: Broker, children: Children, folder: Path, units: int) -> int:
    """Start all of it as a service manager does, at once; returns the dashboard's port."""
    site = folder / "site.toml"
    site.write_text(site_text(facility_of(units), units), encoding="utf-8")
    data, port = folder / "data", free_port()
    open_store(data, facility_of(units)).close()  # its first start makes the store, every other finds it
    children.start_command("collector", "collect", "--site", str(site), "--broker", f"{broker.host}:{broker.port}",
                           "--data", str(data))  # fmt: skip
    argv, env = launch.command(data, port)
    children.start("dashboard", argv, env)
    wait_for(lambda: _listens(data), 60, "the collector")
    children.start_command("deliver", "deliver", "--data", str(data))
    wait_for(lambda: _looks(port), 60, "the first screen")
    return port


def main(units: int = 50, seconds: float = 60.0) -> list[Row]:
    """A row a process, and all of them."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with start_nats(folder / "broker") as broker, Children(folder / "logs") as children:
            port = start(broker, children, folder, units)
            start_s = time.perf_counter() - began
            feeder = Feeder(broker, round(units / EVERY_S * (SETTLE_S + seconds + 5)), units, units, units / EVERY_S)
            feeder.go()
            with looked_at(port):
                time.sleep(SETTLE_S)
                rows = _measured(children_of(os.getpid()), seconds)
            feeder.process.kill()
    return [*rows, {"process": "start-up", "seconds": start_s, "limit": 5.0}]


def _measured(pids: dict[str, int], seconds: float) -> list[Row]:
    before = {name: cpu_s(pid) for name, pid in pids.items()}
    time.sleep(seconds)
    rows: list[Row] = [
        {"process": name, "pss_mb": pss_mb(pid), "cpu_share": (cpu_s(pid) - before[name]) / seconds}
        for name, pid in pids.items()
    ]
    sums = {key: sum(float(row[key]) for row in rows) for key in ("pss_mb", "cpu_share")}
    return [*rows, {"process": "all", **sums, "limit_mb": 512.0, "limit_share": 0.15}]


if __name__ == "__main__":
    show(main(*map(int, sys.argv[1:])))
