"""Starting a broker on a given port, or on any free one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from collector.broker.errors import BrokerError, PortTaken
from collector.broker.ports import free_port
from collector.broker.process import Broker

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

TRIES = 5  # a free port may be taken by another program before the broker listens on it
LOG_LIMIT_BYTES = 10_000_000


def prepare_folder(data_dir: Path, name: str) -> Path:
    """The broker's own folder below `data_dir`, made if it is missing; a log that has grown long is put aside."""
    folder = (data_dir / name).resolve()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        log = folder / "broker.log"
        if log.exists() and log.stat().st_size > LOG_LIMIT_BYTES:
            log.replace(folder / "broker.log.1")
    except OSError as fault:
        raise BrokerError(f"the broker's folder {folder} cannot be used: {fault.strerror}") from fault
    return folder


def start_on(port: int, host: str, make: Callable[[int], Broker]) -> Broker:
    """Make and start a broker on `port`; 0 means any free port, tried again when another program is quicker."""
    for left in reversed(range(TRIES if port == 0 else 1)):
        broker = make(port or free_port(host))
        try:
            broker.start()
        except PortTaken:
            if left == 0:
                raise
            continue
        return broker
    raise AssertionError("unreachable: the last try returns or raises")
