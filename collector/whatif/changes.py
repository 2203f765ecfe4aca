"""A file of changes: what to try on the past, on top of a site file and of the rules' own limits.

`[model.ID]` and `[ward.ID]` take the keys of the site file, `[limits]` those of `limit_keys`. `[model.default]` is for
the units that name no model. A wrong file is refused whole, with every fault named as a site file's are.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeGuard

import msgspec
from pydantic import ValidationError

from collector.rules.limits import LIMITS, Limits
from collector.site import Model, Site, TomlPath, Ward, fault_text
from collector.site_lines import LineFinder, nearest
from collector.whatif import limit_keys

_KEYS: Final = {
    "model": [name for name in Model.model_fields if name not in ("id", "task")],
    "ward": [name for name in Ward.model_fields if name not in ("id", "name")],
}
#: Limits that must rise, or a condition could be raised for ever or never be cleared.
_RISING: Final = (("floor_pct", "ceiling_pct"), ("absent_flow_lpm", "on_flow_lpm"),
                  ("poor_deadband_share", "poor_volts_share"))  # fmt: skip


class ChangesError(Exception):
    """The file of changes cannot be used; the text holds one line per fault."""


class Change(msgspec.Struct, frozen=True):
    """One limit that is tried: `of` is a model, a ward or "limits"."""

    of: str
    key: str
    before: object
    after: object


class Tried(msgspec.Struct, frozen=True):
    """What the past is to be tried with, and in which it differs from today's."""

    site: Site
    limits: Limits
    changes: tuple[Change, ...]


def load_changes(path: Path, site: Site, limits: Limits = LIMITS) -> Tried:
    """Read a file of changes; ChangesError names every fault with its line."""
    try:
        return parse_changes(path.read_text(encoding="utf-8"), site, limits, str(path))
    except FileNotFoundError as error:
        raise ChangesError(
            f"{path}: no such file; write one (README, 'Trying other limits') or name another"
        ) from error
    except (OSError, UnicodeDecodeError) as error:
        raise ChangesError(f"{path}: cannot be read: {error}") from error


def parse_changes(text: str, site: Site, limits: Limits = LIMITS, name: str = "changes.toml") -> Tried:
    """Read the text of a file of changes; `name` stands in front of each fault."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ChangesError(f"{name}: not valid TOML: {error}") from error
    file = _File(name, LineFinder(text))
    models = file.parts("model", data.pop("model", {}), _models(site))
    wards = file.parts("ward", data.pop("ward", {}), {ward.id: ward for ward in site.wards})
    after = file.limits(data.pop("limits", {}), limits)
    for key in data:
        file.refuse((key,), f"unknown key '{key}'{nearest(key, (*_KEYS, 'limits'))}")
    if file.faults:
        raise ChangesError("\n".join(file.faults))
    return Tried(_with(site, models, wards), after, tuple(file.changes))


def whole_site(site: Site, other: Site, limits: Limits = LIMITS) -> Tried:
    """What a whole other site file of the same facility would have done, with the limits as they are."""
    changes: list[Change] = []
    for kind, before, after, keys in (
        ("model", site.models, other.models, _KEYS["model"]),
        ("ward", site.wards, other.wards, _KEYS["ward"]),
        ("unit", site.units, other.units, ["model", "ward", "in_service"]),
    ):
        known, tried = ({part.id: part for part in parts} for parts in (before, after))
        for part_id in known | tried:
            pair = known.get(part_id), tried.get(part_id)
            if None in pair:
                there = ("there" if part else "not there" for part in pair)
                changes.append(Change(kind, part_id, *there))
                continue
            values = [(key, getattr(pair[0], key), getattr(pair[1], key)) for key in keys]
            changes += [Change(f"{kind} {part_id}", *each) for each in values if each[1] != each[2]]
    return Tried(other, limits, tuple(changes))


def _models(site: Site) -> dict[str, Model]:
    """The models by id, and the defaults under an id of their own where units name no model."""
    models = {model.id: model for model in site.models}
    return models if all(unit.model for unit in site.units) else {"default": site.model("")} | models


def _with(site: Site, models: dict[str, Any], wards: dict[str, Any]) -> Site:
    units = [unit if unit.model else unit.model_copy(update={"model": "default"}) for unit in site.units]
    if "default" in {model.id for model in site.models}:
        units = list(site.units)
    return Site(
        facility=site.facility, ward=tuple(wards.values()), model=tuple(models.values()), unit=tuple(units),
        cylinder=site.cylinders, person=site.people,
    )  # fmt: skip


class _File:
    """One file of changes while it is checked: its lines, its faults and what it changes."""

    def __init__(self, name: str, lines: LineFinder) -> None:
        self._name, self._lines = name, lines
        self.faults: list[str] = []
        self.changes: list[Change] = []

    def refuse(self, path: TomlPath, said: str) -> None:
        self.faults.append(f"{self._name}:{self._lines.line(path)}: {said}")

    def _is_table(self, value: object, path: TomlPath, written: str) -> TypeGuard[dict[str, Any]]:
        if isinstance(value, dict):
            return True
        self.refuse(path, f"'{path[-1]}' must be a table; write {written}")
        return False

    def parts(self, kind: str, tables: object, known: dict[str, Any]) -> dict[str, Any]:
        """The models or wards by id, changed as [kind.ID] says."""
        after = dict(known)
        if not self._is_table(tables, (kind,), f"[{kind}.ID]"):
            return after
        for part_id, values in tables.items():
            path = (kind, part_id)
            if part_id not in known:
                self.refuse(path, f"no [[{kind}]] of the site has the id '{part_id}'{nearest(part_id, known)}")
            elif self._is_table(values, path, f"[{kind}.ID] with a key of it"):
                after[part_id] = self._part(path, values, known[part_id])
        return after

    def _part(self, path: TomlPath, values: dict[str, Any], part: Model | Ward) -> Model | Ward:
        known = _KEYS[str(path[0])]
        wrong = [key for key in values if key not in known]
        for key in wrong:
            self.refuse((*path, key), f"unknown key '{key}'{nearest(key, known)}")
        try:
            after = type(part).model_validate(
                dict(part) | {k: v for k, v in values.items() if k not in wrong}, strict=True
            )
        except ValidationError as error:
            self._add(error, path, lambda _: known)
            return part
        for key in values if not wrong else ():
            self.changes.append(Change(f"{path[0]} {path[1]}", key, getattr(part, key), getattr(after, key)))
        return after

    def limits(self, table: object, limits: Limits) -> Limits:
        """The rules' limits, changed as [limits] says."""
        if not self._is_table(table, ("limits",), "[limits]"):
            return limits
        try:
            keys = limit_keys.read(table)
        except ValidationError as error:
            self._add(error, ("limits",), lambda path: limit_keys.keys_at(path[1:]))
            return limits
        for place in limit_keys.given_twice(keys):
            self.refuse(("limits", *place), f"'{place[-1]}' is given already in another unit; leave one")
        after = limit_keys.changed(limits, keys)
        for low, high in _RISING:
            if not getattr(after, low) <= getattr(after, high) and {low, high} & keys.model_fields_set:
                changed = high if high in keys.model_fields_set else low
                self.refuse(("limits", changed), f"limits must rise: {low} <= {high}, and they would be "
                            f"{getattr(after, low)} and {getattr(after, high)}")  # fmt: skip
        self.changes += [Change("limits", *values) for values in limit_keys.differing(limits, after)]
        return after

    def _add(self, error: ValidationError, under: TomlPath, keys_at: Callable[[TomlPath], list[str]]) -> None:
        for item in error.errors():
            path = (*under, *item["loc"])
            if item["type"] == "model_type":
                self.refuse(
                    path, f"'{path[-1]}' is a table; write {path[-1]} = {{ {limit_keys.keys_at(path[1:])[0]} = … }}"
                )
            else:
                self.faults.append(fault_text(self._name, self._lines, dict(item), keys_at, under))
