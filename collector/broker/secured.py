"""A broker with TLS and accounts, run by the configuration that 'sieveward site keys' made."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from collector.broker.mosquitto import find_mosquitto
from collector.broker.nats import find_nats
from collector.broker.process import Broker
from collector.broker.start import prepare_folder

BrokerKind = Literal["nats", "mosquitto"]


def start_secured(kind: BrokerKind, keys: Path, data_dir: Path, host: str, port: int) -> Broker:
    """Start the broker of `keys` (the folder with nats.conf and mosquitto.conf), which listens on `host`:`port`.

    Its log lies below `data_dir`; where it keeps its messages is in the configuration. BrokerError with the reason.
    """
    program = find_nats() if kind == "nats" else find_mosquitto()
    command = [program.path, "-c", str(keys / f"{kind}.conf")]
    broker = Broker(program.named(kind), command, prepare_folder(data_dir, kind), host, port, tls=True)
    broker.start()
    return broker
