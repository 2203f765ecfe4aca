"""Texts, plural forms, numbers and days in the language that is spoken now."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from functools import cache
from typing import Final

from collector.tongue.catalogues import bound, catalogue
from collector.tongue.current import ENGLISH, Language, language

_NAMES: Final = re.compile(r"%([aAbB])")
_kept: dict[tuple[Language, int, bool], tuple[object, object]] = {}


def said(text: str, /, **fields: object) -> str:
    """A text in the language spoken now, its {fields} filled in; English where it is not translated."""
    spoken = language()
    if spoken != ENGLISH:
        told = catalogue(spoken).texts.get(text)
        text = bound(text, spoken) if told is None and fields else told or text
    return text.format_map({name: shown(value) for name, value in fields.items()}) if fields else text


def plural(one: str, many: str, count: float, /, **fields: object) -> str:
    """The form that goes with a number; {count} in it is the number."""
    spoken, whole = language(), int(count) if count == int(count) else 2
    forms: tuple[str, ...] = (one, many)
    place = int(whole != 1)
    if spoken != ENGLISH and (told := catalogue(spoken).plurals.get(one)):
        forms, place = told, catalogue(spoken).form(whole)
    return forms[min(place, len(forms) - 1)].format_map({"count": shown(count)} | fields)


def deep(value: object, *, keys: bool = True) -> object:
    """A constant in the language spoken now: a text, or texts in tuples, lists and mappings.

    `keys`: keys of mappings that begin with a capital are headings, and told too.
    """
    spoken = language()
    if spoken == ENGLISH:
        return value
    if type(value) is str:  # an enum's member is an identifier
        return catalogue(spoken).texts.get(value, value)
    if not isinstance(value, tuple | list | dict):
        return value
    key = spoken, id(value), keys
    found = _kept.get(key)
    if found is None or found[0] is not value:
        found = _kept[key] = value, _inside(value, keys=keys)
    return found[1]


def _inside(value: tuple[object, ...] | list[object] | dict[object, object], *, keys: bool) -> object:
    if isinstance(value, dict):
        return {_key(name) if keys else name: deep(one, keys=keys) for name, one in value.items()}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return value._make(deep(one, keys=keys) for one in value)  # type: ignore[attr-defined]
    return type(value)(deep(one, keys=keys) for one in value)


def deep_values(value: object) -> object:
    """A constant of a module that draws: its mappings' keys are identifiers."""
    return deep(value, keys=False)


def _key(name: object) -> object:
    """A mapping's key: a heading is a text, what has no capital an identifier."""
    return deep(name) if isinstance(name, str) and name[:1].isupper() else name


def shown(value: object) -> object:
    """A value as it is put into a text: fractions with the language's own mark."""
    return number(value) if isinstance(value, float) else value


def number(value: object, spec: str = "") -> str:
    """A number, day or time by a format specification, with the language's own marks and names."""
    spoken = language()
    if spoken == ENGLISH:
        return format(value, spec)
    if isinstance(value, datetime | date | time):
        return format(value, _NAMES.sub(lambda found: _name(value, found[1], spoken), spec))
    text = format(value, spec)
    if isinstance(value, int | float):
        point, group = _marks(spoken)
        text = text.replace(",", "\0").replace(".", point).replace("\0", group)
    return text


def listed_number(text: str) -> str:
    """A number that was written with a point, with the language's own mark."""
    spoken = language()
    return text if spoken == ENGLISH else re.sub(r"(?<=\d)\.(?=\d)", _marks(spoken)[0], text)


def _name(moment: date | time, directive: str, spoken: Language) -> str:
    from babel.dates import format_date

    pattern = {"a": "EEE", "A": "EEEE", "b": "MMM", "B": "MMMM"}[directive]
    if not isinstance(moment, date):
        return f"%{directive}"
    return format_date(moment, pattern, locale=_locale(spoken)).replace("%", "%%")


@cache
def _locale(spoken: Language) -> str:
    """The language as Babel knows it; English for one that it does not."""
    from babel import Locale, UnknownLocaleError

    try:
        return str(Locale.parse(spoken, sep="-"))
    except (UnknownLocaleError, ValueError):
        return "en"


@cache
def _marks(spoken: Language) -> tuple[str, str]:
    from babel.numbers import get_decimal_symbol, get_group_symbol

    return get_decimal_symbol(_locale(spoken)), get_group_symbol(_locale(spoken))
