"""nats-server as the MQTT broker: speaks MQTT 3.1.1 and keeps what it acknowledged in a file store."""

from __future__ import annotations

import json
import sysconfig
from pathlib import Path

from collector.broker.errors import BrokerError
from collector.broker.process import Broker
from collector.broker.programs import Program, find_programs
from collector.broker.start import LOG_LIMIT_BYTES, prepare_folder, start_on

OLDEST = (2, 10, 25)  # the oldest that the tests of this project were run with
MAX_ACK_PENDING = 1000  # readings on their way to the collector; a batch is acknowledged when it is on disk
# What a killed client had not acknowledged is sent again after this long. The collector waits for longer than this
# before it connects (intake/subscriber.py), or newer messages would overtake. The default, 30 s, keeps a ward waiting.
ACK_WAIT = "1s"
ACCOUNTS = "nats-accounts.conf"  # beside the configuration: nats-server looks for it there
HANDSHAKE_S = 10  # the default of 2 s is too short for a small computer to which everybody comes back at once
SYNC_INTERVAL = "1s"  # what a power cut can take from the broker; a crash of the broker alone takes nothing


def start_nats(data_dir: Path, *, port: int = 0, host: str = "127.0.0.1") -> Broker:
    """Start nats-server with its store below `data_dir` and return when it answers MQTT on `port` (0: any free).

    The newest of the one on PATH and the one that is installed with this project is taken, since an older one
    may not read a newer one's store. Raises BrokerError with the reason and the way out.
    """
    program = find_nats()
    folder = prepare_folder(data_dir, "nats")

    def make(chosen_port: int) -> Broker:
        settings = folder / "nats.conf"
        settings.write_text(nats_settings(folder, host, chosen_port), encoding="utf-8")
        command = [program.path, "-c", str(settings)]
        return Broker(program.named("nats-server"), command, folder, host, chosen_port)

    return start_on(port, host, make)


def find_nats() -> Program:
    """The nats-server to use."""
    installed_with_us = Path(sysconfig.get_path("scripts")) / "nats-server"
    found = find_programs(["nats-server", str(installed_with_us)], ["--version"])
    fit = [program for program in found if program.version >= OLDEST]
    if not fit:
        old = ", ".join(f"{program.path} is {program.named('version')}" for program in found)
        raise BrokerError(
            f"no nats-server {'.'.join(map(str, OLDEST))} or newer is on this machine"
            f"{f' ({old})' if old else ''}: install this project's packages anew (python3 deploy/run.py), "
            "or name a broker of your own with --broker HOST:PORT"
        )
    return max(fit, key=lambda program: program.version)


def nats_settings(folder: Path, host: str, port: int, keys: Path | None = None) -> str:
    """The configuration file. Its own client port is any free one on loopback: nobody here uses it.

    With `keys`, the folder that 'sieveward site keys' made for the broker: TLS, accounts, and the log to stderr, where
    the service manager takes it.
    """
    log = (
        ""
        if keys
        else f"""log_file: {_quoted(folder / "broker.log")}
logfile_size_limit: {LOG_LIMIT_BYTES}
logfile_max_num: 3
"""
    )
    return f"""# written by sieveward; changes made here are lost
server_name: "sieveward"
listen: "127.0.0.1:-1"
{log}jetstream {{
  store_dir: {_quoted(folder)}
  sync_interval: "{SYNC_INTERVAL}"
}}
mqtt {{
  host: {_quoted(host)}
  port: {port}
  max_ack_pending: {MAX_ACK_PENDING}
  ack_wait: "{ACK_WAIT}"
{_tls(keys) if keys else ""}}}
{f'include "{ACCOUNTS}"' if keys else ""}
"""


def _tls(keys: Path) -> str:
    return f"""  tls {{
    cert_file: {_quoted(keys / "server.crt")}
    key_file: {_quoted(keys / "server.key")}
    min_version: "1.2"
    timeout: {HANDSHAKE_S}
  }}
"""


def _quoted(value: Path | str) -> str:
    return json.dumps(str(value), ensure_ascii=False)
