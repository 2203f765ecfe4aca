"""One frame's text to values by name: the five kinds of text that a profile can describe.

Rules of this file: nothing is guessed. A line that does not fit its profile is refused whole, with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import msgspec

from collector.bridge.patterns import compile_pattern
from collector.bridge.profile_tables import Profile

#: A field's name -> its text as it stands on the line; a field that is not there is not in it.
Texts = Mapping[str, str]


class NotRead(ValueError):
    """A frame that cannot be read, and why."""


def split(profile: Profile, text: str) -> Texts:
    """The texts of the profile's fields in one line; NotRead."""
    return _SPLITTERS[profile.kind](profile, text)


def _delimited(profile: Profile, text: str) -> Texts:
    parts = text.split(profile.delimiter)
    if profile.columns is not None and len(parts) != profile.columns:
        raise NotRead(f"{len(parts)} columns where {profile.columns} should be")
    found = {}
    for name, table in profile.field.told().items():
        column = table.source
        if not isinstance(column, int) or column > len(parts):
            raise NotRead(f"no column {column} for {name}: the line has {len(parts)}")
        found[name] = parts[column - 1]
    return found


def _key_value(profile: Profile, text: str) -> Texts:
    pairs: dict[str, str] = {}
    for part in text.split(profile.pairs or None):
        key, mark, value = part.partition(profile.equals)
        key = key.strip()
        if not mark:
            raise NotRead(f"'{part[:40]}' has no '{profile.equals}'")
        if key in pairs:
            raise NotRead(f"'{key[:40]}' is said twice")
        pairs[key] = value
    return _named(profile, pairs)


def _json(profile: Profile, text: str) -> Texts:
    try:
        document = msgspec.json.decode(text, type=dict[str, object])
    except (msgspec.DecodeError, RecursionError) as error:
        raise NotRead(f"not a JSON object: {error}") from error
    texts = {}
    for name, table in profile.field.told().items():
        value: object = document
        for step in str(table.source).split("."):
            value = value.get(step) if isinstance(value, dict) else None
        if isinstance(value, dict | list | bool):
            raise NotRead(f"'{table.source}' is no number and no text")
        if value is not None:
            texts[name] = value if isinstance(value, str) else repr(value)
    if not texts:
        raise NotRead("none of the profile's keys is in it")
    return texts


def _regex(profile: Profile, text: str) -> Texts:
    match = compile_pattern(profile.pattern).fullmatch(text)
    if match is None:
        raise NotRead("the pattern does not fit the line")
    groups = match.groupdict()
    found = {name: groups.get(str(table.source or name)) for name, table in profile.field.told().items()}
    return {name: value for name, value in found.items() if value is not None}


def _fixed_width(profile: Profile, text: str) -> Texts:
    if profile.width is not None and len(text) != profile.width:
        raise NotRead(f"{len(text)} signs where {profile.width} should be")
    found = {}
    for name, table in profile.field.told().items():
        first, last = table.source if isinstance(table.source, tuple) else (1, 1)
        if last > len(text):
            raise NotRead(f"{name} ends at place {last}, and the line has {len(text)}")
        found[name] = text[first - 1 : last]
    return found


def _named(profile: Profile, pairs: Mapping[str, str]) -> Texts:
    found = {name: pairs[str(t.source)] for name, t in profile.field.told().items() if t.source in pairs}
    if not found:
        raise NotRead("none of the profile's keys is in it")
    return found


_SPLITTERS: Final[dict[str, Callable[[Profile, str], Texts]]] = {
    "delimited": _delimited, "key-value": _key_value, "json": _json, "regex": _regex, "fixed-width": _fixed_width,
}  # fmt: skip
