"""The site file: one hospital's wards, models, units, parts, cylinders and people, as frozen typed objects.

A wrong file is refused whole, with every fault named as `file:line: what is wrong, and the way out`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path

from pydantic import Field, ValidationError

from collector.site_lines import LineFinder, nearest
from collector.site_tables import (
    SIMULATED_PREFIX,
    UNASSIGNED,
    Analyser,
    Bridge,
    Cylinder,
    Facility,
    Id,
    Influx,
    Messages,
    Model,
    Part,
    Percent,
    Person,
    Positive,
    Table,
    Task,
    Unit,
    Ward,
)  # fmt: skip

__all__ = [
    "SIMULATED_PREFIX", "UNASSIGNED", "Analyser", "Bridge", "Cylinder", "Facility", "Id", "Influx", "Messages",
    "Model", "Part", "Percent", "Person", "Positive", "Site", "SiteError", "Task", "TomlPath", "Unit", "Ward",
    "fault_text", "load_site", "parse_site", "written",
]  # fmt: skip

#: A place in a TOML file: names of tables and keys, and numbers within arrays of tables.
TomlPath = tuple[str | int, ...]


class SiteError(Exception):
    """The site file cannot be used; `faults` holds one line per fault."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = list(faults)


class Site(Table):
    """A whole site file, with its cross references checked."""

    facility: Facility
    wards: tuple[Ward, ...] = Field(default=(), alias="ward")
    models: tuple[Model, ...] = Field(default=(), alias="model")
    units: tuple[Unit, ...] = Field(default=(), alias="unit")
    parts: tuple[Part, ...] = Field(default=(), alias="part")
    analysers: tuple[Analyser, ...] = Field(default=(), alias="analyser")
    cylinders: tuple[Cylinder, ...] = Field(default=(), alias="cylinder")
    bridges: tuple[Bridge, ...] = Field(default=(), alias="bridge")
    people: tuple[Person, ...] = Field(default=(), alias="person")
    influx: Influx | None = None
    messages: Messages | None = None

    @property
    def simulated(self) -> bool:
        """Whether this facility's data come from a simulator."""
        return self.facility.id.startswith(SIMULATED_PREFIX)

    @cached_property
    def _by_id(self) -> tuple[dict[str, Ward], dict[str, Model], dict[str, Unit]]:
        wards = {ward.id: ward for ward in self.wards}
        return wards, {model.id: model for model in self.models}, {unit.id: unit for unit in self.units}

    def ward(self, ward_id: str) -> Ward:
        """The ward with this id; KeyError when there is none."""
        if not ward_id or ward_id == UNASSIGNED:
            return Ward(id=UNASSIGNED, name="Not in a ward")
        return self._by_id[0][ward_id]

    def model(self, model_id: str) -> Model:
        """The model with this id, or the defaults for a unit that names none."""
        return self._by_id[1][model_id] if model_id else Model(id="default")

    def unit(self, unit_id: str) -> Unit | None:
        """The unit with this id, or None."""
        return self._by_id[2].get(unit_id)

    def part(self, called: str) -> Part | None:
        """The part with this id or name, or None."""
        return next((part for part in self.parts if called in (part.id, part.name)), None)

    def analyser(self, analyser_id: str) -> Analyser | None:
        """The reference analyser with this id, or None."""
        return next((analyser for analyser in self.analysers if analyser.id == analyser_id), None)

    def model_of(self, unit_id: str) -> Model:
        """The model of a unit of this site."""
        return self.model(self._by_id[2][unit_id].model)

    def ward_of(self, unit_id: str) -> Ward:
        """The ward a unit of this site stands in."""
        return self.ward(self._by_id[2][unit_id].ward)

    def units_of(self, ward_id: str) -> tuple[Unit, ...]:
        """The units that stand in a ward, in the file's order."""
        return tuple(unit for unit in self.units if (unit.ward or UNASSIGNED) == ward_id)

    def places(self) -> tuple[Ward, ...]:
        """Every ward, and the place of the units that have none when there are such."""
        homeless = any(not unit.ward for unit in self.units)
        return (*self.wards, self.ward(UNASSIGNED)) if homeless else self.wards


def load_site(path: Path) -> Site:
    """Read a site file; SiteError names every fault with its line."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SiteError([f"{path}: no such file; write one (README, 'The site file') or name another"]) from error
    except (OSError, UnicodeDecodeError) as error:
        raise SiteError([f"{path}: cannot be read: {error}"]) from error
    return parse_site(text, str(path))


def parse_site(text: str, name: str = "site.toml") -> Site:
    """Read a site file's text; `name` stands in front of each fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SiteError([f"{name}: not valid TOML: {error}"]) from error
    lines = LineFinder(text)
    try:
        site = Site.model_validate(data)
    except ValidationError as error:
        faults = [fault_text(name, lines, dict(item), _keys_at) for item in error.errors()]
        raise SiteError(faults) from error
    if faults := list(_cross_faults(site, lines, name)):
        raise SiteError(faults)
    return site


_TABLES: dict[str, type[Table]] = {
    "facility": Facility, "ward": Ward, "model": Model, "unit": Unit, "part": Part, "analyser": Analyser,
    "cylinder": Cylinder, "bridge": Bridge, "person": Person, "influx": Influx, "messages": Messages,
}  # fmt: skip


def fault_text(
    name: str,
    lines: LineFinder,
    item: dict[str, object],
    keys_at: Callable[[TomlPath], list[str]],
    under: TomlPath = (),
) -> str:
    """What pydantic found wrong, as `name:line: what is wrong, and the way out`.

    `item` is one of `ValidationError.errors()`, `under` where in the file the checked part stands, `keys_at` the keys
    known at a place in the file.
    """
    path = (*under, *written(_steps(item["loc"]), item, lambda step: step in ("bool", "date")))
    where = f"{name}:{lines.line(path)}"
    if item["type"] == "extra_forbidden":
        return f"{where}: unknown key '{path[-1]}'{nearest(str(path[-1]), keys_at(path[:-1]))}"
    if item["type"] == "missing":
        table = str(path[0]) if len(path) > 1 else ""
        return f"{where}: {'[' + table + '] ' if table else ''}needs '{path[-1]}'; add it"
    said = str(item["msg"]).removeprefix("Value error, ")
    value = item.get("input")
    shown = f" (it says {value!r})" if isinstance(value, str | int | float | bool) else ""
    if item["type"] == "string_pattern_mismatch":
        said = "an id is small letters, digits and hyphens, 40 at most, such as 'newborn' or 'unit-07'"
    return f"{where}: {'.'.join(str(step) for step in path if isinstance(step, str))}: {said}{shown}"


def written(steps: TomlPath, item: Mapping[str, object], is_type: Callable[[object], bool]) -> TomlPath:
    """A fault's place without the types that pydantic tried; what somebody wrote may have the name of a type."""
    kept = {0, len(steps) - 1 if item["type"] == "extra_forbidden" else 0}
    return tuple(step for place, step in enumerate(steps) if place in kept or not is_type(step))


def _steps(loc: object) -> tuple[str | int, ...]:
    return tuple(loc) if isinstance(loc, tuple) else ()


def _keys_at(path: tuple[str | int, ...]) -> list[str]:
    if not path:
        return list(_TABLES)
    if path[0] == "model" and "task" in path:
        return list(Task.model_fields)
    part = _TABLES.get(str(path[0]))
    return list(part.model_fields) if part else []


def _cross_faults(site: Site, lines: LineFinder, name: str) -> Iterator[str]:
    tables = {"ward": site.wards, "model": site.models, "unit": site.units, "part": site.parts,
              "analyser": site.analysers, "cylinder": site.cylinders, "bridge": site.bridges,
              "person": site.people}  # fmt: skip
    known = {table: [part.id for part in parts] for table, parts in tables.items()}  # type: ignore[attr-defined]
    for table, ids in known.items():
        for index, part_id in enumerate(ids):
            if part_id in ids[:index]:
                yield f"{name}:{lines.line((table, index, 'id'))}: two [[{table}]] have the id '{part_id}'; rename one"
    for table in ("unit", "cylinder", "person"):
        for index, part in enumerate(tables[table]):
            for key in ("ward", "model"):
                value = getattr(part, key, "")
                if value and value not in known[key]:
                    line = lines.line((table, index, key))
                    yield f"{name}:{line}: no [[{key}]] has the id '{value}'{nearest(value, known[key])}"
    yield from _bridge_faults(site, lines, name, known)
    yield from _part_faults(site, lines, name)


def _bridge_faults(site: Site, lines: LineFinder, name: str, known: dict[str, list[str]]) -> Iterator[str]:
    for index, bridge in enumerate(site.bridges):
        for key, table in (("units", "unit"), ("cylinders", "cylinder")):
            for value in getattr(bridge, key):
                if value not in known[table]:
                    line = lines.line(("bridge", index, key))
                    yield f"{name}:{line}: no [[{table}]] has the id '{value}'{nearest(value, known[table])}"


def _part_faults(site: Site, lines: LineFinder, name: str) -> Iterator[str]:
    """Parts that a task needs and nobody keeps; a file without any [[part]] keeps no stock, and names them freely."""
    called = [word for part in site.parts for word in (part.id, part.name) if word]
    tasks = ((m, t, task) for m, model in enumerate(site.models) for t, task in enumerate(model.task))
    for m, t, task in tasks if site.parts else ():
        for word in task.parts:
            if word not in called:
                line = lines.line(("model", m, "task", t, "parts"))
                yield f"{name}:{line}: no [[part]] has the id or name '{word}'{nearest(word, called)}"
