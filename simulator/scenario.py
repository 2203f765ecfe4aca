"""The scenario file: how the units of a site begin, which bridge reads which, and what happens when.

A wrong file is refused whole, with every fault named as `file:line: what is wrong, and the way out`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from collector.site import Id, Site
from collector.site_lines import LineFinder, nearest
from simulator.faults import KINDS, Fault, Quantity
from simulator.sensors import Sensors

#: The scenarios that come with the program.
FOLDER: Final = Path(__file__).parent / "scenarios"
MAIN_BRIDGE: Final = "bridge"


class ScenarioError(Exception):
    """The scenario cannot be used; `faults` holds one line per fault."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = list(faults)


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Story(_Part):
    """What the scenario is called, why it is there, and how long until it has been told."""

    title: str = ""
    why: str = ""
    minutes: Annotated[float, Field(gt=0)] = 60.0
    flow_changes: bool = True
    lamp: bool = False
    line_format: Literal["delimited", "key-value"] = "delimited"


class Air(_Part):
    """The wards' room air: mean and daily swing in degC."""

    temp_c: Annotated[float, Field(ge=-10, le=55)] = 27.0
    swing_c: Annotated[float, Field(ge=0, le=20)] = 2.5


class Bridge(_Part):
    """A bridge and the units that it reads."""

    id: Id
    units: tuple[str, ...] = ()


class Begin(_Part):
    """How one unit begins; what is left out is drawn from the seed, and a flow that is given stays as it is."""

    id: str
    on: bool = True
    flow_lpm: Annotated[float, Field(ge=0, le=60)] | None = None
    capacity_share: Annotated[float, Field(gt=0, le=3)] | None = None
    ceiling_pct: Annotated[float, Field(gt=21, le=95.75)] | None = None
    knee: Annotated[float, Field(ge=2, le=100)] | None = None
    without: tuple[Quantity, ...] = ()


class Scenario(_Part):
    """A whole scenario, checked against its site."""

    scenario: Story = Story()
    air: Air = Air()
    sensors: Sensors = Sensors()
    bridges: tuple[Bridge, ...] = Field(default=(), alias="bridge")
    begins: tuple[Begin, ...] = Field(default=(), alias="unit")
    faults: tuple[Fault, ...] = Field(default=(), alias="fault")


def scenario_path(name: str) -> Path:
    """The file of a scenario that comes with the program (`night`), or the path given."""
    inside = FOLDER / f"{name}.toml"
    return inside if inside.is_file() and "/" not in name else Path(name)


def load_scenario(name: str | Path, site: Site) -> Scenario:
    """Read a scenario by its name or path; ScenarioError names every fault with its line."""
    path = scenario_path(str(name))
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        known = ", ".join(sorted(file.stem for file in FOLDER.glob("*.toml")))
        raise ScenarioError([f"{path}: no such scenario; name a file, or one of: {known}"]) from error
    except (OSError, UnicodeDecodeError) as error:
        raise ScenarioError([f"{path}: cannot be read: {error}"]) from error
    return parse_scenario(text, site, str(path))


def parse_scenario(text: str, site: Site, name: str = "scenario.toml") -> Scenario:
    """Read a scenario's text against its site; `name` stands in front of each fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError([f"{name}: not valid TOML: {error}"]) from error
    lines = LineFinder(text)
    try:
        scenario = Scenario.model_validate(data)
    except ValidationError as error:
        raise ScenarioError([_said(name, lines, item["loc"], item["type"], item["msg"], item.get("input"))
                             for item in error.errors()]) from error  # fmt: skip
    found = [f"{name}:{lines.line(path)}: {said}" for path, said in _wrong(scenario, site)]
    if found:
        raise ScenarioError(found)
    return scenario


_TABLES: Final[dict[str, type[BaseModel]]] = {
    "scenario": Story, "air": Air, "sensors": Sensors, "bridge": Bridge, "unit": Begin, "fault": Fault,
}  # fmt: skip
Place = tuple[str | int, ...]


def _said(name: str, lines: LineFinder, loc: Place, kind: str, message: str, value: object) -> str:
    where = f"{name}:{lines.line(loc)}"
    table = _TABLES.get(str(loc[0])) if loc else None
    if kind == "extra_forbidden":
        known = list(_TABLES) if len(loc) == 1 else _keys(table)
        return f"{where}: unknown key '{loc[-1]}'{nearest(str(loc[-1]), known)}"
    if kind == "missing":
        return f"{where}: [{loc[0]}] needs '{loc[-1]}'; add it"
    shown = f" (it says {value!r})" if isinstance(value, str | int | float) else ""
    key = ".".join(str(step) for step in loc if isinstance(step, str))
    return f"{where}: {key}: {message.removeprefix('Value error, ')}{shown}"


def _keys(table: type[BaseModel] | None) -> list[str]:
    return [field.alias or key for key, field in table.model_fields.items()] if table else []


def _wrong(scenario: Scenario, site: Site) -> Iterator[tuple[Place, str]]:
    """Every reference and size that does not fit, with the place of its key."""
    units = [unit.id for unit in site.units]
    for index, begin in enumerate(scenario.begins):
        if begin.id not in units:
            yield ("unit", index, "id"), f"the site has no unit '{begin.id}'{nearest(begin.id, units)}"
    yield from _wrong_bridges(scenario, units)
    for index, fault in enumerate(scenario.faults):
        for key, said in (*_wrong_kind(fault), *_wrong_target(fault, scenario, site)):
            yield ("fault", index, key), said


def _wrong_bridges(scenario: Scenario, units: list[str]) -> Iterator[tuple[Place, str]]:
    seen: dict[str, str] = {}
    for index, bridge in enumerate(scenario.bridges):
        place = ("bridge", index, "units")
        for unit in bridge.units:
            if unit not in units:
                yield place, f"the site has no unit '{unit}'{nearest(unit, units)}"
            if unit in seen:
                yield place, f"'{unit}' is read by the bridge '{seen[unit]}' already; name it once"
            seen[unit] = bridge.id
    missing = [unit for unit in units if unit not in seen]
    if scenario.bridges and missing:
        yield ("bridge", 0), f"no bridge reads {', '.join(missing)}; add them to one, or leave out all bridges"


def _wrong_kind(fault: Fault) -> Iterator[tuple[str, str]]:
    kind = KINDS.get(fault.kind)
    if kind is None:
        yield "kind", f"no kind of fault is called '{fault.kind}'{nearest(fault.kind, KINDS)}"
        return
    given = "size" in fault.model_fields_set
    if kind.size is None and given:
        yield "size", f"'{fault.kind}' has no size; leave it out"
    elif kind.size is not None and kind.needs_size and not given:
        yield "kind", f"'{fault.kind}' needs a size ({kind.size_means}); add it"
    elif kind.size is not None and not kind.size[0] <= fault.size <= kind.size[1]:
        yield "size", f"{fault.size} is outside {kind.size[0]:g} to {kind.size[1]:g} ({kind.size_means})"
    if fault.curve != "step" and not kind.grows:
        yield "kind", f"'{fault.kind}' is there or not; leave out shape and rise"
    if fault.curve != "step" and fault.rise_ms is None:
        yield "shape", "a fault that grows needs 'rise': how long it takes to grow; add it"
    for key, value in (("length", fault.length_ms), ("rise", fault.rise_ms)):
        if value is not None and value <= 0:
            yield key, "must be longer than nothing"


def _wrong_target(fault: Fault, scenario: Scenario, site: Site) -> Iterator[tuple[str, str]]:
    named = [key for key in ("unit", "units", "ward", "bridge") if getattr(fault, key)]
    if len(named) != 1:
        yield "kind", "say whom it befalls with one of unit, units, ward or bridge"
    kind = KINDS.get(fault.kind)
    if kind and kind.befalls == "bridge" and named != ["bridge"]:
        yield "kind", f"'{fault.kind}' befalls a bridge; add bridge"
    units, wards = [unit.id for unit in site.units], [ward.id for ward in site.wards]
    bridges = [bridge.id for bridge in scenario.bridges] or [MAIN_BRIDGE]
    for key, ids, known in (("unit", (fault.unit,), units), ("units", fault.units, units),
                            ("ward", (fault.ward,), wards), ("bridge", (fault.bridge,), bridges)):  # fmt: skip
        for part_id in ids:
            if part_id and part_id not in known:
                yield key, f"no {key.rstrip('s')} is called '{part_id}'{nearest(part_id, known)}"
