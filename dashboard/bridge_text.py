"""A bridge file and the commands around it, made of what a screen knows; pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

import tomlkit

from collector.bridge.profile import load_profile, shipped_profiles
from collector.bridge.profile_tables import Profile
from collector.door import TLS_PORT, DoorError, host_and_port

LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
_LAST_NUMBER: Final = re.compile(r"\d+(?=\D*$)")


class Wish(NamedTuple):
    """What a bridge is to do: its units, one profile, the first serial port, and where the broker is for it."""

    facility: str
    bridge: str
    units: tuple[str, ...]
    profile: str
    port: str
    baud: int
    broker: str


@cache
def profiles() -> dict[str, Profile]:
    """The profiles that are shipped, by name."""
    return {name: load_profile(path) for name, path in shipped_profiles().items()}


def needs_account(broker: str) -> bool:
    """Whether a bridge needs an account file: the broker's TLS port lets nobody in without one."""
    try:
        return host_and_port(broker)[1] == TLS_PORT
    except DoorError:
        return False


def broker_for(broker: str, page_host: str) -> str:
    """The broker's address as another machine sees it: where the collector says 127.0.0.1, the dashboard's own host."""
    try:
        host, port = host_and_port(broker)
    except DoorError:
        return broker
    seen = page_host if host in LOOPBACK and page_host else host
    return f"[{seen}]:{port}" if ":" in seen else f"{seen}:{port}"


def bridge_toml(wish: Wish) -> str:
    """The bridge file; a line on which several units speak is one port, else each unit has a port of its own.

    DoorError where the broker's address is none.
    """
    host_and_port(wish.broker)
    out = tomlkit.document()
    out["facility"], out["bridge"] = wish.facility, wish.bridge
    if needs_account(wish.broker):
        out["account"] = f"bridge-{wish.bridge}.toml"
    else:
        out["broker"] = wish.broker
    out["spool"] = f"spool-{wish.bridge}"
    ports = tomlkit.aot()
    for path, units in _lines(wish):
        ports.append(_port(path, wish, units))
    out["port"] = ports
    return tomlkit.dumps(out)


def shares_line(profile: str) -> bool:
    """Whether several units speak on one line by this profile."""
    known = profiles()[profile]
    return known.kind == "modbus" or known.field.unit is not None


def _lines(wish: Wish) -> list[tuple[str, Sequence[str]]]:
    if shares_line(wish.profile):
        return [(wish.port, wish.units)]
    return [(_counted_on(wish.port, place), [unit]) for place, unit in enumerate(wish.units)]


def _counted_on(port: str, place: int) -> str:
    found = _LAST_NUMBER.search(port)
    if found is None:
        return port if place == 0 else f"{port}-{place + 1}"
    return f"{port[: found.start()]}{int(found[0]) + place}{port[found.end() :]}"


def _port(path: str, wish: Wish, units: Sequence[str]) -> tomlkit.items.Table:
    table = tomlkit.table()
    table["path"], table["profile"], table["baud"] = path, wish.profile, wish.baud
    if not shares_line(wish.profile):
        table["unit"] = units[0]
        return table
    named = tomlkit.inline_table()
    for number, unit in enumerate(units, 1):
        named[str(number)] = unit
    table["units"] = named  # left of each unit: what the line calls it
    return table


def commands(wish: Wish) -> list[str]:
    """What is typed: accounts first where the broker wants them, then the profile tried, then the bridge itself."""
    first = ["sieveward site keys --site SITE.toml --out KEYS"] if needs_account(wish.broker) else []
    return [*first, f"sieveward bridge --learn {wish.port}", f"sieveward bridge {wish.bridge}.toml"]
