"""A profile file read and checked: how one kind of device speaks over a serial line.

A wrong file is refused whole, with every fault named as `file:line: what is wrong, and the way out`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from collector.bridge.analyser import Analyser
from collector.bridge.bridge_file import BridgeFileError, read_toml_text
from collector.bridge.checksum import Checksum
from collector.bridge.framing import LONGEST_FRAME, Framing
from collector.bridge.patterns import PatternError, compile_pattern
from collector.bridge.profile_tables import MOST_COLUMNS, ONLY_FOR, Fields, FieldTable, ModbusTable, Poll, Profile
from collector.bridge.units import CONVERSIONS
from collector.site import TomlPath, fault_text, written
from collector.site_lines import LineFinder, nearest
from collector.site_tables import Table

_TABLES: dict[str, type[Table]] = {
    "framing": Framing, "checksum": Checksum, "poll": Poll, "modbus": ModbusTable, "analyser": Analyser,
}  # fmt: skip


def shipped_profiles() -> dict[str, Path]:
    """The profiles that come with sieveward, by name; each has a sample beside it."""
    folder = Path(str(resources.files("collector.bridge") / "profiles"))
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def find_profile(name: str, beside: Path) -> Path:
    """The file of a profile that is named by its path (from the folder `beside`), or by the name of a shipped one."""
    if not name.endswith(".toml"):
        if name in (shipped := shipped_profiles()):
            return shipped[name]
        raise BridgeFileError(f"no profile '{name}' is shipped{nearest(name, shipped)}; a file's name ends in .toml")
    return beside / name


def load_profile(path: Path) -> Profile:
    """Read a profile file; BridgeFileError names every fault with its line."""
    return parse_profile(read_toml_text(path, "profile"), str(path))


def parse_profile(text: str, name: str = "profile.toml") -> Profile:
    """Read a profile's text; `name` stands in front of each fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BridgeFileError(f"{name}: not valid TOML: {error}") from error
    lines = LineFinder(text)
    try:
        profile = Profile.model_validate(data)
    except ValidationError as error:
        faults = [fault_text(name, lines, _without_union(item), _keys_at) for item in error.errors()]
        raise BridgeFileError("\n".join(dict.fromkeys(faults))) from error
    if faults := [f"{name}:{lines.line(path)}: {said}" for path, said in _faults(profile, data)]:
        raise BridgeFileError("\n".join(faults))
    return profile


def _without_union(item: Mapping[str, Any]) -> dict[str, object]:
    """A fault's place without the names of the types that pydantic tried."""
    known = ("int", "str", "function-after", "function-before")
    loc = written(
        tuple(item["loc"]), item,
        lambda step: isinstance(step, str) and (step in known or step.startswith(("tuple", "function"))),
    )  # fmt: skip
    return {**item, "loc": loc}


def _keys_at(path: TomlPath) -> list[str]:
    if path[:1] == ("field",):
        table: type[Table] = Fields if len(path) == 1 else FieldTable
    else:
        table = _TABLES.get(str(path[0]), Profile) if path else Profile
    return [field.alias or name for name, field in table.model_fields.items()]


def _faults(profile: Profile, data: dict[str, Any]) -> Iterator[tuple[TomlPath, str]]:
    for key, kinds in ONLY_FOR.items():
        if key in data and profile.kind not in kinds:
            yield (key,), f"'{key}' is for the kind {' or '.join(kinds)}, and this is '{profile.kind}'"
    if not profile.field.quantities() and profile.field.lamp is None:
        yield ("field",), "nothing measured is read; add [field.purity_pct] or another of the reading's fields"
    for name, table in profile.field.told().items():
        yield from _field_faults(profile, name, table)
    yield from _modbus_faults(profile, data) if profile.kind == "modbus" else _text_faults(profile)


def _field_faults(profile: Profile, name: str, table: FieldTable) -> Iterator[tuple[TomlPath, str]]:
    here: TomlPath = ("field", name)
    if name in CONVERSIONS and table.unit not in CONVERSIONS[name]:
        units = CONVERSIONS[name]
        said = f"no unit '{table.unit}' for {name}{nearest(table.unit, units)}" if table.unit else (
            f"say in which unit it stands: in = one of {', '.join(units)}")  # fmt: skip
        yield (*here, "in"), said
    if table.absolute and name != "pressure_kpa":
        yield (*here, "absolute"), "only a pressure can count from vacuum"
    if profile.kind == "modbus":
        if table.address is None:
            yield here, "say at which register it stands: address = 0 is the first"
    elif wanted := _wrong_source(profile, name, table):
        yield (*here, "from"), wanted


def _wrong_source(profile: Profile, name: str, table: FieldTable) -> str:
    """What `from` must be for the profile's kind, or "" where it is."""
    source = table.source
    if profile.kind == "delimited":
        last = profile.columns or MOST_COLUMNS
        good = isinstance(source, int) and 1 <= source <= last
        return "" if good else f"from = the column's number, 1 to {last}"
    if profile.kind == "fixed-width":
        last = profile.width or LONGEST_FRAME
        good = isinstance(source, tuple) and 1 <= source[0] <= source[1] <= last
        return "" if good else f"from = [first, last] place in the line, 1 to {last}"
    if profile.kind == "regex":
        try:
            groups = compile_pattern(profile.pattern).groupindex
        except PatternError:
            return ""  # told once, of the pattern
        group = source or name
        return "" if group in groups else f"the pattern has no group (?P<{group}>...){nearest(str(group), groups)}"
    return "" if isinstance(source, str) and source else 'from = the key it has on the line, such as "o2"'


def _text_faults(profile: Profile) -> Iterator[tuple[TomlPath, str]]:
    if profile.kind == "regex":
        try:
            compile_pattern(profile.pattern)
        except PatternError as error:
            yield ("pattern",), str(error)
    framing = profile.framing
    if framing.length is not None and not framing.start and not profile.checksum:
        yield (
            ("framing", "length"),
            "with a length alone nobody can tell where a frame begins; add start, or a [checksum]",
        )
    if framing.tail_bytes and (profile.checksum is None or profile.checksum.width != framing.tail_bytes):
        yield ("framing", "tail_bytes"), "what stands behind the end mark must be the checksum, and as long"
    if profile.checksum and profile.checksum.written == "binary" and not (framing.length or framing.tail_bytes):
        yield (
            ("checksum", "written"),
            "a binary checksum can look like the end mark; give the framing a length or tail_bytes",
        )
    if profile.poll and not profile.poll.octets:
        yield ("poll",), 'what is the device asked? request = "?\\r", or request_hex = "3F 0D"'


def _modbus_faults(profile: Profile, data: dict[str, Any]) -> Iterator[tuple[TomlPath, str]]:
    for key in ("framing", "checksum"):
        if key in data:
            yield (key,), f"Modbus RTU has its own frames; leave [{key}] out"
    if profile.poll and profile.poll.octets:
        yield ("poll",), "Modbus requests are made from the registers; leave the request out"
    for name in ("unit", "time"):
        if getattr(profile.field, name) is not None:
            yield ("field", name), f"'{name}' is not read from registers; the address on the line says which unit it is"
