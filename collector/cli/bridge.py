"""`sieveward bridge`: read units over serial lines and publish them; learn a device; prove a profile on a sample."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, NamedTuple

import typer

from collector.bridge.bridge_file import BridgeFile, BridgeFileError, load_bridge_file
from collector.bridge.ports import Ports
from collector.bridge.profile import shipped_profiles
from collector.bridge.run import open_bridge
from collector.cli import bridge_learn, bridge_sample
from collector.cli.collect import stop_on_signals
from collector.cli.doors import door_or_refuse
from collector.cli.says import Refused, say, say_error
from collector.door import Door
from collector.log import log_to_stderr

_LEARN, _CHECK = "With --learn: ", "With --check: "
BridgeArgument = Annotated[
    Path | None, typer.Argument(metavar="BRIDGE.toml", help="The bridge file: ports, units, broker.")
]
LearnOption = Annotated[
    str | None, typer.Option("--learn", metavar="PORT", help="Listen to a port and propose a profile.")
]
CheckOption = Annotated[
    tuple[str, Path] | None,
    typer.Option("--check", metavar="PROFILE SAMPLE", help="Try a profile (file, or shipped name) on a sample."),
]
ProfilesOption = Annotated[bool, typer.Option("--profiles", help="List the profiles that are shipped.")]
BaudOption = Annotated[int | None, typer.Option(help=_LEARN + "only this speed; otherwise the usual ones.")]
SecondsOption = Annotated[float, typer.Option(help=_LEARN + "how long each speed is given.", min=0.1)]
LinesOption = Annotated[int, typer.Option(help=_LEARN + "so many lines are enough.", min=1)]
AskOption = Annotated[str, typer.Option(metavar="TEXT", help=_LEARN + r"sent each second, such as '?\r'.")]
AltitudeOption = Annotated[
    float, typer.Option(metavar="M", help=_CHECK + "where the analyser stands, above sea level.")
]
CalibratedOption = Annotated[
    float | None, typer.Option(metavar="M", help=_CHECK + "where a galvanic analyser was calibrated.")
]
JsonOption = Annotated[bool, typer.Option("--json", help=_CHECK + "one JSON object.")]


class Prepared(NamedTuple):
    """A bridge that is ready to run."""

    file: BridgeFile
    ports: Ports
    door: Door


def bridge(
    bridge_file: BridgeArgument = None,
    learn: LearnOption = None,
    check: CheckOption = None,
    profiles: ProfilesOption = False,
    baud: BaudOption = None,
    seconds: SecondsOption = 15.0,
    lines: LinesOption = 20,
    ask: AskOption = "",
    altitude: AltitudeOption = 0.0,
    calibrated_altitude: CalibratedOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read units over serial lines and publish their readings; what the broker has not yet is kept on disk.

    --learn listens to a device and proposes a profile; --check proves a profile on a captured sample.

    \b
    Example: sieveward bridge bridge.toml
    Example: sieveward bridge --check device.toml sample.txt
    """
    _only_one(bridge_file, learn, check, profiles or None)
    if learn is not None:
        bridge_learn.learn(learn, baud, seconds, lines, ask)
    elif check is not None:
        bridge_sample.check(check[0], check[1], altitude, calibrated_altitude, as_json)
    elif bridge_file is not None:
        _run(prepared(bridge_file))
    else:
        _list_profiles()


def _only_one(*ways: object) -> None:
    if sum(way is not None for way in ways) != 1:
        raise Refused("name a bridge file, or one of --learn PORT, --check PROFILE SAMPLE and --profiles")


def _list_profiles() -> None:
    for name, path in shipped_profiles().items():
        say(f"{name:20}{path}")


def prepared(path: Path) -> Prepared:
    """Everything that a bridge file names, read and checked; Refused with every fault."""
    try:
        found = load_bridge_file(path)
        ports = Ports(found, path.resolve().parent)
    except BridgeFileError as error:
        raise Refused(str(error)) from error
    return Prepared(found, ports, door_or_refuse(found.broker, found.account))


def _run(ready: Prepared) -> None:
    log_to_stderr()
    with stop_on_signals() as stop:
        units = sum(len(port.unit_ids) for port in ready.file.ports)
        say_error(f"bridge '{ready.file.bridge}' of '{ready.file.facility}' ({units} units) to {ready.door.where}")
        open_bridge(ready.file, ready.ports, ready.door).run(stop)
