"""All ports of a bridge as one source of readings, in one thread."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import msgspec

from collector.bridge.bridge_file import BridgeFile, BridgeFileError, PortTable
from collector.bridge.gather import Gather, add_to
from collector.bridge.port import Line, Port, open_line
from collector.bridge.profile import find_profile, load_profile
from collector.bridge.source import PortState
from collector.bridge.talk import Behind, talk_for
from collector.bridge.thin import Thin
from collector.bridge.values import Maker
from collector.reading import Reading

__all__ = ["Ports"]


class _Member(NamedTuple):
    port: Port
    gather: Gather | None
    thin: Thin | None

    def turn(self, now_ms: int, now_s: float) -> list[Reading]:
        readings = self.port.turn(now_ms)
        readings = self.gather.turn(readings, now_s) if self.gather else readings
        return self.thin.turn(readings, now_s) if self.thin else readings

    def state(self) -> PortState:
        left_out = self.thin.left_out if self.thin else 0
        return msgspec.structs.replace(self.port.state(), left_out=left_out)


class Ports:
    """The ports of a bridge file, opened as they can be; `beside` is where its profiles' paths begin."""

    def __init__(
        self,
        bridge: BridgeFile,
        beside: Path,
        tick: Callable[[], float] = time.monotonic,
        opener: Callable[[PortTable], Line] = open_line,
    ) -> None:
        self._tick = tick
        self._members = [_member(table, bridge.altitude_m, beside, tick, opener) for table in bridge.ports]
        self._ports = [member.port for member in self._members]

    def turn(self, now_ms: int) -> list[Reading]:
        """Read what is there. Of one unit and one moment there is one reading; what came later in it counts."""
        found: dict[tuple[str, int], Reading] = {}
        for member in self._members:
            for reading in member.turn(now_ms, self._tick()):
                known = found.setdefault((reading.unit, reading.time_ms), reading)
                if known is not reading:
                    add_to(known, reading)
        return list(found.values())

    def filenos(self) -> list[int]:
        """What to wait on for reading."""
        return [number for port in self._ports if (number := port.fileno()) is not None]

    def wait_s(self) -> float:
        """How long may be waited at most before the next turn."""
        held_s = min((member.gather.until_s() for member in self._members if member.gather), default=float("inf"))
        return max(0.0, min(held_s - self._tick(), *(port.wait_s() for port in self._ports)))

    def state(self) -> list[PortState]:
        """How each port stands, in the file's order."""
        return [member.state() for member in self._members]

    def close(self) -> None:
        """Let go of all lines."""
        for port in self._ports:
            port.close()


def _member(
    table: PortTable,
    altitude_m: float | None,
    beside: Path,
    tick: Callable[[], float],
    opener: Callable[[PortTable], Line],
) -> _Member:
    profile = load_profile(find_profile(table.profile, beside))
    pressure = profile.field.pressure_kpa
    if altitude_m is None and pressure and pressure.absolute:
        raise BridgeFileError(f"port {table.path}: its pressure counts from vacuum; say altitude_m in the bridge file")
    maker = Maker(profile, altitude_m or 0.0, table.calibrated_altitude_m)
    try:
        talk = talk_for(profile, Behind(table.unit, table.units), maker)
    except ValueError as error:
        raise BridgeFileError(f"port {table.path}, profile '{table.profile}': {error}") from error
    gather = Gather(profile.gather_s, own_time=profile.field.time is not None) if profile.gather_s else None
    thin = Thin(table.at_most_every_s) if table.at_most_every_s else None
    return _Member(Port(table, talk, maker.corrections, tick, opener), gather, thin)
