"""A measurement on each broker that is installed, and its rows as lines."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

from collector.broker import Broker, BrokerError, start_mosquitto, start_nats

Row = dict[str, float | str]
_STARTS: list[Callable[[Path], Broker]] = [start_nats, partial(start_mosquitto, save_every_change=False)]


def on_each_broker(measure: Callable[[Broker, Path], Row]) -> list[Row]:
    """A row a broker, measured in a folder of its own; a broker that is not installed is left out, and said."""
    rows = []
    with tempfile.TemporaryDirectory() as name:
        for start in _STARTS:
            try:
                with start(Path(name)) as broker:
                    rows.append(measure(broker, Path(name)))
            except BrokerError as error:
                sys.stderr.write(f"left out: {error}\n")
    return rows


def show(rows: list[Row]) -> None:
    """Rows as lines of name=value."""
    for row in rows:
        shown = (
            f"{name}={value:.2f}" if isinstance(value, float) else f"{name}={value}" for name, value in row.items()
        )
        sys.stdout.write(" ".join(shown) + "\n")
