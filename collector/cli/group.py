"""`sieveward group`: many facilities followed by many collectors, over a NATS JetStream cluster."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.collect import clock_from
from collector.cli.doors import PASSWORD_VARIABLE, USER_VARIABLE
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.group import group_file
from collector.group.board import Board, OtherVersion, Unreached
from collector.group.group_file import GroupError, GroupFile, load_group_file
from collector.group.member import Member, Replaced
from collector.group.table import Held, Table
from collector.log import log_to_stderr

app = typer.Typer(help="Many facilities followed by many collectors.", no_args_is_help=True)

FileOption = Annotated[Path, typer.Option("--file", metavar="GROUP.toml", help="The group file.")]


@app.command("collect")
def collect(
    file: FileOption = Path("group.toml"),
    name: Annotated[str, typer.Option(metavar="NAME", help="This collector's; else the machine's.")] = "",
    clock: Annotated[str | None, typer.Option(hidden=True)] = None,
) -> None:
    """Take part in a group: follow the facilities that the group gives this collector, until stopped.

    User names and passwords are taken from SIEVEWARD_MQTT_USER and SIEVEWARD_MQTT_PASSWORD for the readings, from
    SIEVEWARD_NATS_USER and SIEVEWARD_NATS_PASSWORD for the group's table.
    Example: sieveward group collect --file group.toml --name collector-1
    """
    told = _told(file)
    log_to_stderr(threads=True)  # a facility's thread has its name
    named = name or socket.gethostname().partition(".")[0].lower()
    say_error(f"'{named}' takes part in the group '{told.id}' with {len(told.facilities)} facilities")
    try:
        asyncio.run(_take_part(named, told, clock))
    except (Replaced, OtherVersion) as error:
        raise Refused(str(error), EXIT_FAILED) from error


@app.command("show")
def show(
    file: FileOption = Path("group.toml"),
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object.")] = False,
) -> None:
    """Say who follows which facility now; exit status 1 when a facility is nobody's, or the cluster does not answer.

    Example: sieveward group show --file group.toml
    """
    told = _told(file)
    try:
        table = asyncio.run(_look(told))
    except (Unreached, OtherVersion) as error:
        raise Refused(f"the cluster at {', '.join(told.servers)} gives no table: {error}", EXIT_FAILED) from error
    nobodys = sorted(name for name in told.facilities if not table.held.get(name, Held()).owner)
    if as_json:
        say_json({"generation": table.generation, "members": sorted(table.members), "held": table.held})
    else:
        _say_table(table, nobodys)
    if nobodys:
        raise typer.Exit(EXIT_FAILED)


def _say_table(table: Table, nobodys: list[str]) -> None:
    for name in sorted(table.members):
        mine = table.owned_by(name)
        say(f"{name}: {len(mine)} facilities")
        for facility, held in sorted(mine.items()):
            say(f"  {facility} since epoch {held.epoch}" + (f", moves to {held.next}" if held.next else ""))
    if nobodys:
        say(f"nobody follows {', '.join(nobodys)}: start a collector with 'sieveward group collect'")


def _told(file: Path) -> GroupFile:
    try:
        return load_group_file(file, os.environ.get(USER_VARIABLE, ""), os.environ.get(PASSWORD_VARIABLE, ""))
    except GroupError as error:
        raise Refused(str(error)) from error


def _board(told: GroupFile) -> Board:
    user = os.environ.get(group_file.USER_VARIABLE, "")
    password = os.environ.get(group_file.PASSWORD_VARIABLE, "")
    return Board(told.id, told.servers, told.replicas, user=user, password=password, ca=told.nats_ca)


async def _take_part(name: str, told: GroupFile, clock: str | None) -> None:
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    async with _board(told) as board:
        await Member(name, told, board, clock_from(clock)).run(stop)


async def _look(told: GroupFile) -> Table:
    async with _board(told) as board:
        return (await board.table())[0]
