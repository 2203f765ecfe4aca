"""How every command that talks to a broker is told which: --broker HOST:PORT, or --account FILE."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Final

import typer

from collector.cli.says import Refused
from collector.door import Door, DoorError, host_and_port, read_door, tls_context

DEFAULT: Final = "127.0.0.1:1883"
USER_VARIABLE: Final = "SIEVEWARD_MQTT_USER"
PASSWORD_VARIABLE: Final = "SIEVEWARD_MQTT_PASSWORD"  # noqa: S105 - a name, not a password

BrokerOption = Annotated[
    str | None, typer.Option("--broker", metavar="HOST:PORT", help=f"A broker without TLS; {DEFAULT} if none is named.")
]
AccountOption = Annotated[
    Path | None, typer.Option("--account", metavar="FILE", help="An account file, made by 'sieveward site keys'.")
]


def door_or_refuse(broker: str | None, account: Path | None) -> Door:
    """The door that the options name, with its certificate looked at; Refused with what is wrong.

    With --broker the user name and password come from SIEVEWARD_MQTT_USER and SIEVEWARD_MQTT_PASSWORD.
    """
    if broker is not None and account is not None:
        raise Refused("name one of --broker and --account; the account file says where the broker is")
    try:
        if account is not None:
            door = read_door(account)
        else:
            user, password = os.environ.get(USER_VARIABLE, ""), os.environ.get(PASSWORD_VARIABLE, "")
            door = Door(*host_and_port(broker or DEFAULT), user, password)
        tls_context(door)
    except DoorError as error:
        raise Refused(str(error)) from error
    return door
