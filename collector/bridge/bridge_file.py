"""The bridge file: which facility, which broker, which serial ports, and which units are behind each of them.

A wrong file is refused whole, with every fault named as `file:line: what is wrong, and the way out`.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import Field, ValidationError, model_validator

from collector.site import TomlPath, fault_text
from collector.site_lines import LineFinder
from collector.site_tables import Id, Positive, Table

DEFAULT_STALE_S: Final = 60.0
Altitude = Annotated[float, Field(ge=-450, le=6000)]


class BridgeFileError(Exception):
    """A bridge file or profile that cannot be used; its text has one line per fault."""


class PortTable(Table):
    """One serial port: its path, its settings, the profile of the devices on it, and the units behind it.

    `unit` is the one unit on the line. `units` maps what the line calls a unit (a column's text, a Modbus address) to
    a unit's id. `profile` is a file, relative to the bridge file, or the name of a profile that is shipped.
    at_most_every_s thins a device that speaks many times a second: one reading of each unit in so long (0: all).
    calibrated_altitude_m is where a galvanic analyser on this line was last calibrated; None means here.
    """

    path: str
    profile: str
    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600
    parity: Literal["none", "even", "odd"] = "none"
    data_bits: Literal[7, 8] = 8
    stop_bits: Literal[1, 2] = 1
    unit: Id | None = None
    units: dict[str, Id] = Field(default={})
    stale_s: Positive = DEFAULT_STALE_S
    at_most_every_s: Annotated[float, Field(ge=0, le=600)] = 0.0
    calibrated_altitude_m: Altitude | None = None

    @model_validator(mode="after")
    def _some_unit(self) -> PortTable:
        if (self.unit is None) == (not self.units):
            raise ValueError('name the unit behind the port: unit = "unit-07", or units = { "3" = "unit-07" }')
        if len(set(self.units.values())) < len(self.units):
            raise ValueError("two names in `units` stand for the same unit; leave one out")
        return self

    @property
    def unit_ids(self) -> tuple[str, ...]:
        """The units behind the port."""
        return (self.unit,) if self.unit else tuple(self.units.values())


class BridgeFile(Table):
    """A whole bridge file. Paths in it are relative to it; `account` or `broker` says where readings go.

    spool_mb bounds what is kept on disk while the broker is away. altitude_m is the bridge's height above sea level,
    for analysers that follow partial pressure. clock "own" believes this machine's clock; "auto" does so unless it is a
    small board without a battery clock, whose clock must first have been set from a time server.
    """

    facility: Id
    bridge: Id
    account: Path | None = None
    broker: str | None = None
    spool: Path = Path("spool")
    spool_mb: Positive = 500.0
    clock: Literal["auto", "own"] = "auto"
    altitude_m: Altitude | None = None
    ports: tuple[PortTable, ...] = Field(alias="port", min_length=1)

    @model_validator(mode="after")
    def _one_way_out(self) -> BridgeFile:
        if (self.account is None) == (self.broker is None):
            raise ValueError('say where readings go: account = "FILE" (with password and TLS), or broker = "HOST:PORT"')
        if self.altitude_m is None and any(port.calibrated_altitude_m is not None for port in self.ports):
            raise ValueError("a port has calibrated_altitude_m; say at which altitude_m the bridge stands, too")
        for what, said in (("path", [port.path for port in self.ports]),
                           ("unit", [unit for port in self.ports for unit in port.unit_ids])):  # fmt: skip
            if twice := next((one for one in said if said.count(one) > 1), None):
                raise ValueError(f"two ports have the {what} '{twice}'; each belongs to one port")
        return self


def load_bridge_file(path: Path) -> BridgeFile:
    """Read a bridge file, with paths in it made absolute; BridgeFileError names every fault with its line."""
    text = read_toml_text(path, "bridge file")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BridgeFileError(f"{path}: not valid TOML: {error}") from error
    lines = LineFinder(text)
    try:
        found = BridgeFile.model_validate(data)
    except ValidationError as error:
        raise BridgeFileError(
            "\n".join(fault_text(str(path), lines, dict(item), _keys_at) for item in error.errors())
        ) from error
    here = path.resolve().parent
    return found.model_copy(
        update={"account": here / found.account if found.account else None, "spool": here / found.spool}
    )


def read_toml_text(path: Path, what: str) -> str:
    """The text of a file that people write; BridgeFileError says why it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise BridgeFileError(f"{path}: no such file; name a {what} that is there") from error
    except (OSError, UnicodeDecodeError) as error:
        raise BridgeFileError(f"{path}: cannot be read: {error}") from error


def _keys_at(path: TomlPath) -> list[str]:
    table = PortTable if path and path[0] == "port" else BridgeFile
    return [field.alias or name for name, field in table.model_fields.items()]
