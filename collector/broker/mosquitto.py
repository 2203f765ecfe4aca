"""Mosquitto as the MQTT broker, for tests and for hospitals that have one."""

from __future__ import annotations

import os
from pathlib import Path

from collector.broker.errors import BrokerError
from collector.broker.process import Broker
from collector.broker.programs import Program, find_programs
from collector.broker.start import prepare_folder, start_on

OLDEST = (2, 0, 0)  # earlier ones listen to everybody unless told otherwise
PASSWORDS, PERMISSIONS = "mosquitto-passwords", "mosquitto-permissions"
MAX_INFLIGHT = 1000  # readings on their way to the collector; a batch is acknowledged when it is on disk


def start_mosquitto(
    data_dir: Path, *, port: int = 0, host: str = "127.0.0.1", save_every_change: bool = True
) -> Broker:
    """Start Mosquitto with its store below `data_dir` and return when it answers MQTT on `port` (0: any free).

    `save_every_change` writes the whole store for every message, at some milliseconds each; without it the
    store is written once a second. Either way Mosquitto acknowledges first and writes then, so a crash of the
    broker can lose what it acknowledged last. Raises BrokerError with the reason.
    """
    program = find_mosquitto()
    folder = prepare_folder(data_dir, "mosquitto")

    def make(chosen_port: int) -> Broker:
        settings = folder / "mosquitto.conf"
        text = mosquitto_settings(folder, host, chosen_port, save_every_change=save_every_change)
        settings.write_text(text, encoding="utf-8")
        command = [program.path, "-c", str(settings)]
        return Broker(program.named("mosquitto"), command, folder, host, chosen_port)

    return start_on(port, host, make)


def find_mosquitto() -> Program:
    """The Mosquitto to use; Debian keeps it where only an administrator's PATH leads."""
    found = find_programs(["mosquitto", "/usr/sbin/mosquitto"], ["-h"])
    fit = [program for program in found if program.version >= OLDEST]
    if not fit:
        raise BrokerError("no Mosquitto 2.0 or newer is on this machine (Debian: apt-get install mosquitto)")
    return fit[0]


def mosquitto_settings(
    folder: Path, host: str, port: int, *, save_every_change: bool = True, keys: Path | None = None, run_as: str = ""
) -> str:
    """The configuration file; with `keys`, the folder that 'sieveward site keys' made for the broker: TLS and accounts.

    `max_queued_messages 0`: the default of 1000 acknowledges and then drops what an absent collector should get.
    With `autosave_on_changes` the interval counts changes, without it seconds.
    """
    if not keys and os.geteuid() == 0:
        run_as = "root"  # as another user it would outlive its starter's death
    return f"""# written by sieveward; changes made here are lost
{f"user {run_as}" if run_as else ""}
per_listener_settings false
{_accounts(keys) if keys else "allow_anonymous true"}
persistence true
persistence_location {folder}/
autosave_on_changes {str(save_every_change).lower()}
autosave_interval 1
persistent_client_expiration 14d
max_queued_messages 0
max_inflight_messages {MAX_INFLIGHT}
set_tcp_nodelay true
log_dest stderr
log_type error
log_type warning
log_type notice
connection_messages false
listener {port} {host}
{_listener(keys) if keys else ""}"""


def _accounts(keys: Path) -> str:
    return f"""allow_anonymous false
password_file {keys}/{PASSWORDS}
acl_file {keys}/{PERMISSIONS}"""


def _listener(keys: Path) -> str:
    # use_username_as_clientid keeps one account from taking another's session over; it only works below a listener.
    return f"""use_username_as_clientid true
certfile {keys}/server.crt
keyfile {keys}/server.key
tls_version tlsv1.2
"""
