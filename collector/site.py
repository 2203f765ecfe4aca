"""The site file: one hospital's wards, models, units, cylinders and people, as frozen typed objects.

A wrong file is refused whole, with every fault named as `file:line: what is wrong, and the way out`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from collector.site_lines import LineFinder, nearest

#: Facility ids with this prefix belong to simulators: other topics, another store, a mark on every screen.
SIMULATED_PREFIX = "sim-"
UNASSIGNED = "unassigned"

#: Safe in an MQTT topic, in a NATS subject (no dot), in a file name and in a URL.
Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]
Percent = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
#: A place in a TOML file: names of tables and keys, and numbers within arrays of tables.
TomlPath = tuple[str | int, ...]


class SiteError(Exception):
    """The site file cannot be used; `faults` holds one line per fault."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = list(faults)


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=False, allow_inf_nan=False)


class Facility(_Part):
    """The hospital: `altitude_m` above sea level matters to analysers that follow partial pressure."""

    id: Id
    name: str = ""
    timezone: str = "UTC"
    altitude_m: Annotated[float, Field(ge=-450, le=6000)] = 0.0

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise ValueError(f"no time zone '{value}'; write one of the IANA names, such as Africa/Banjul") from error
        return value


class Ward(_Part):
    """A ward; `changeover_min` is how long finding, carrying, fitting and checking a backup takes there."""

    id: Id
    name: str = ""
    flow_limit_lpm: Positive | None = None
    changeover_min: Positive = 15.0

    @property
    def title(self) -> str:
        """What people call it."""
        return self.name or self.id


class Task(_Part):
    """A maintenance task of a model: due by run hours, by calendar or by condition, whichever comes first."""

    id: Id
    name: str = ""
    every_h: Positive | None = None
    every_days: Positive | None = None
    condition: str | None = None
    minutes: Positive | None = None
    parts: tuple[str, ...] = ()


class Model(_Part):
    """A model's limits; the unit's manual overrides every default.

    Defaults: red 82 % after WHO's and ISO 80601-2-69's low-purity alarm point (82 % v/v), amber 85 % and switch-off
    70 % common practice, warm-up 10 min (90 % of the rise within 10.5 min: Johns et al., Thorax 1985;40:806).
    """

    id: Id
    rated_flow_lpm: Positive = 5.0
    amber_pct: Percent = 85.0
    red_pct: Percent = 82.0
    shutdown_pct: Percent = 70.0
    warm_up_min: Annotated[float, Field(ge=0, le=60)] = 10.0
    rated_power_w: Positive | None = None
    nominal_volts: Positive = 230.0
    task: tuple[Task, ...] = ()

    @model_validator(mode="after")
    def _ordered(self) -> Model:
        if not self.shutdown_pct < self.red_pct < self.amber_pct:
            raise ValueError("limits must rise: shutdown_pct < red_pct < amber_pct")
        return self

    @property
    def power_w(self) -> float:
        """Rated power in W; 70 W per L/min of rated flow (WHO's ceiling) where the model states none."""
        return self.rated_power_w or 70.0 * self.rated_flow_lpm


class Unit(_Part):
    """One concentrator; `in_service` is the date it was put in service, or false while it is not used."""

    id: Id
    model: str = ""
    ward: str = ""
    serial: str = ""
    in_service: bool | date = True
    hour_meter_h: Annotated[float, Field(ge=0)] | None = None


class Cylinder(_Part):
    """A backup cylinder: `water_l` of water capacity, gauge pressures in kPa."""

    id: Id
    ward: str = ""
    water_l: Positive | None = None
    full_kpa: Positive = 13_700.0
    change_kpa: Positive = 800.0


class Person(_Part):
    """Somebody who is told or who acts."""

    id: Id
    name: str = ""
    role: Literal["ward", "engineer", "planner", "administrator"] = "ward"
    ward: str = ""


class Site(_Part):
    """A whole site file, with its cross references checked."""

    facility: Facility
    wards: tuple[Ward, ...] = Field(default=(), alias="ward")
    models: tuple[Model, ...] = Field(default=(), alias="model")
    units: tuple[Unit, ...] = Field(default=(), alias="unit")
    cylinders: tuple[Cylinder, ...] = Field(default=(), alias="cylinder")
    people: tuple[Person, ...] = Field(default=(), alias="person")

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


_PARTS: dict[str, type[_Part]] = {
    "facility": Facility, "ward": Ward, "model": Model, "unit": Unit, "cylinder": Cylinder, "person": Person,
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
    path = (*under, *(step for step in _steps(item["loc"]) if step not in ("bool", "date")))
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


def _steps(loc: object) -> tuple[str | int, ...]:
    return tuple(loc) if isinstance(loc, tuple) else ()


def _keys_at(path: tuple[str | int, ...]) -> list[str]:
    if not path:
        return list(_PARTS)
    if path[0] == "model" and "task" in path:
        return list(Task.model_fields)
    part = _PARTS.get(str(path[0]))
    return list(part.model_fields) if part else []


def _cross_faults(site: Site, lines: LineFinder, name: str) -> Iterator[str]:
    tables = {"ward": site.wards, "model": site.models, "unit": site.units,
              "cylinder": site.cylinders, "person": site.people}  # fmt: skip
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
