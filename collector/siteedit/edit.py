"""The text of a site file after a change: comments, order and everything else stay as they were. Pure.

Rules of this file: a change that is made already changes nothing, so one that is made twice (a collector that died
between file and record) does no harm. The new text is read as any site file is and must say exactly what was meant:
where it would not (a file written in another shape), nothing is changed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

import tomlkit
import tomlkit.exceptions
from pydantic import ValidationError

from collector.site import Site, SiteError, parse_site
from collector.site_lines import LineFinder
from collector.siteedit import asked

_HEADER: Final = re.compile(r"^\s*\[")
_SHAPE: Final = "the site file is not written with one [[table]] for each: write this change into it by hand"


class NotEditable(Exception):
    """The change is not made; the text says why, and the way out."""


def edited(text: str, body: Mapping[str, Any], name: str = "the site file") -> str:
    """The site file's text with what `body` asks for (see `asked`); NotEditable, and then nothing is to be changed."""
    try:
        before = parse_site(text, name)
    except SiteError as error:
        raise NotEditable(f"the site file itself is not good: {error}") from error
    try:
        new, meant = _changed(text, before, body)
    except (KeyError, TypeError, tomlkit.exceptions.TOMLKitError) as error:
        raise NotEditable(f"what was asked for cannot be read ({error!r})") from error
    try:
        after = parse_site(new, name)
    except SiteError as error:
        raise NotEditable(str(error)) from error
    if after != meant:
        raise NotEditable(_SHAPE)
    return new


def _changed(text: str, site: Site, body: Mapping[str, Any]) -> tuple[str, Site]:
    match body["do"]:
        case asked.MOVE | asked.SWAP:
            return _moved(text, site, body)
        case asked.ADD:
            return _added(text, site, str(body["table"]), dict(body["fields"]))
        case asked.REMOVE:
            return _removed(text, site, str(body["unit"]))
        case asked.FACILITY:
            return _described(text, site, dict(body["fields"]))
    raise NotEditable(f"'{body['do']}' is none of {', '.join(asked.DOINGS)}")


def _moved(text: str, site: Site, body: Mapping[str, Any]) -> tuple[str, Site]:
    goals, seen = asked.moves_of(body), asked.stands_of(body)
    now = {}
    for unit in goals:
        if (known := site.unit(unit)) is None:
            raise NotEditable(f"there is no unit '{unit}' in the site file")
        now[unit] = known.ward
    for unit, ward in () if now == goals else seen.items():
        if now[unit] != ward:
            raise NotEditable(
                f"{unit} stands in {now[unit] or 'no ward'} by now, not in {ward or 'no ward'}: look again"
            )
    for ward in goals.values():
        if ward and ward not in [one.id for one in site.wards]:
            raise NotEditable(f"there is no ward '{ward}' in the site file")
    for unit, ward in goals.items():
        place = [one.id for one in site.units].index(unit)
        text = _set_key(text, ("unit", place), "ward", ward)
    units = [unit.model_copy(update={"ward": goals.get(unit.id, unit.ward)}) for unit in site.units]
    return text, _with(site, units=tuple(units))


def _added(text: str, site: Site, table: str, fields: dict[str, Any]) -> tuple[str, Site]:
    kind = asked.TABLES.get(table)
    if kind is None:
        raise NotEditable(f"a screen adds {', '.join(asked.TABLES)}, and no '{table}'")
    try:
        new = kind.model_validate(fields)
    except ValidationError as error:
        said = "; ".join(f"{'.'.join(map(str, one['loc']))}: {one['msg']}" for one in error.errors())
        raise NotEditable(f"[[{table}]] cannot be so: {said}") from error
    listed = next(name for name, field in Site.model_fields.items() if field.alias == table)
    there = getattr(site, listed)
    same = next((one for one in there if one.id == fields["id"]), None)
    if same == new:
        return text, site
    if same is not None:
        raise NotEditable(f"there is a {table} '{fields['id']}' already: choose another id")
    lines = text.splitlines(keepends=True)
    at = _end_of(lines, LineFinder(text).line((table, len(there) - 1))) if there else len(lines)
    lines[at:at] = _table_lines(table, fields, first=not lines, last=at == len(lines), open_end=_open(lines))
    return "".join(lines), _with(site, **{listed: (*there, new)})


def _open(lines: list[str]) -> bool:
    return bool(lines) and not lines[-1].endswith("\n")


def _table_lines(table: str, fields: Mapping[str, Any], *, first: bool, last: bool, open_end: bool) -> list[str]:
    written = [f"{key} = {tomlkit.item(value).as_string()}\n" for key, value in fields.items()]
    before = "\n" if last and open_end else ""
    return [before + ("" if first else "\n") + f"[[{table}]]\n", *written]


def _end_of(lines: list[str], header: int) -> int:
    """The place after the last key of the table whose header is on this line (counted from 1), and of its own tables.

    Comments and blank lines before the next table belong to that one.
    """
    name = lines[header - 1].strip().strip("[").partition("]")[0].strip()
    end = at = header
    while at < len(lines):
        said = lines[at].strip()
        if _HEADER.match(said) and not said.lstrip("[").startswith(f"{name}."):
            break
        at += 1
        if said and not said.startswith("#"):
            end = at
    return end


def _removed(text: str, site: Site, unit: str) -> tuple[str, Site]:
    """Only what `_added` wrote is taken away: the table's own lines, and the blank line before it."""
    ids = [one.id for one in site.units]
    if unit not in ids:
        return text, site
    lines = text.splitlines(keepends=True)
    header = LineFinder(text).line(("unit", ids.index(unit)))
    start = header - 1 - (header > 1 and not lines[header - 2].strip())
    del lines[start : _end_of(lines, header)]
    return "".join(lines), _with(site, units=tuple(one for one in site.units if one.id != unit))


def _described(text: str, site: Site, fields: dict[str, Any]) -> tuple[str, Site]:
    if foreign := sorted(fields.keys() - set(asked.FACILITY_KEYS)):
        raise NotEditable(f"[facility] {', '.join(foreign)} cannot be changed on a screen")
    try:
        told = type(site.facility).model_validate({**site.facility.model_dump(), **fields})
    except ValidationError as error:
        raise NotEditable(f"[facility] cannot be so: {error.errors()[0]['msg']}") from error
    for key, value in fields.items():
        text = _set_key(text, ("facility",), key, value)
    return text, _with(site, facility=told)


def _set_key(text: str, table: tuple[str | int, ...], key: str, value: Any) -> str:  # noqa: ANN401 - a TOML value
    """Set one key of a table: on its own line where it has one, else on a new line behind the id; "" takes it away."""
    finder, lines = LineFinder(text), text.splitlines(keepends=True)
    at = finder.line((*table, key))
    if at != finder.line(table):
        one = tomlkit.parse(lines[at - 1])
        one[key] = value
        lines[at - 1 : at] = [tomlkit.dumps(one)] if value != "" else []
    elif value != "":
        behind = finder.line((*table, "id"))
        end = "" if lines[behind - 1].endswith("\n") else "\n"
        lines[behind - 1] += end
        lines.insert(behind, f"{key} = {tomlkit.item(value).as_string()}\n")
    return "".join(lines)


def _with(site: Site, **what: Any) -> Site:  # noqa: ANN401 - fields of a site
    return Site.model_validate(
        {field.alias or name: what.get(name, getattr(site, name)) for name, field in Site.model_fields.items()}
    )
