"""Catalogues of translations: one gettext file a language, read when first needed.

A language is added by its file alone: `collector/locale/<tag>/LC_MESSAGES/sieveward.po`; nothing is
compiled. A hospital keeps its own in a folder that the environment variable SIEVEWARD_LOCALE names.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Final, NamedTuple

from collector.tongue.current import ENGLISH, Language

LOCALE: Final = Path(__file__).parents[1] / "locale"
#: A folder of a hospital's own with further catalogues, or better ones, laid out in the same way.
OWN_ENV: Final = "SIEVEWARD_LOCALE"
DOMAIN: Final = "sieveward"
#: Languages written from right to left (Unicode CLDR's layout of characters).
_RIGHT_TO_LEFT: Final = frozenset({"ar", "ckb", "dv", "fa", "he", "ks", "ps", "sd", "ug", "ur", "yi"})
#: French puts a no-break space before high punctuation, % and units' signs (Imprimerie nationale, Lexique des règles
#: typographiques, from memory); a catalogue may be written with plain spaces.
_HIGH: Final = re.compile(r"(?<=[^\s*]) (?=[:;?!%»])|(?<=«) ")
_FIELD: Final = re.compile(r"\{(\w*)\}")
#: English marks between two fields.
_BARE: Final = re.compile(r"(?<=\})([:;]) ")
_BOUND: Final = "\u00a0"


class Catalogue(NamedTuple):
    """What a language says: texts, texts that depend on a number, and which form goes with which number."""

    texts: dict[str, str]
    plurals: dict[str, tuple[str, ...]]
    form: Callable[[int], int]


def file_of(language: Language) -> Path:
    """Where a language's catalogue lies, the hospital's own first; whether it is there or not."""
    inside = Path(language.replace("-", "_"), "LC_MESSAGES", f"{DOMAIN}.po")
    return next((folder / inside for folder in _folders() if (folder / inside).exists()), LOCALE / inside)


def _folders() -> list[Path]:
    own = os.environ.get(OWN_ENV, "")
    return [Path(own), LOCALE] if own else [LOCALE]


@cache
def languages() -> tuple[Language, ...]:
    """English and every language that has a catalogue, by tag."""
    paths = [path for folder in _folders() for path in folder.glob(f"*/LC_MESSAGES/{DOMAIN}.po")]
    found = {path.parts[-3].replace("_", "-") for path in paths}
    return (ENGLISH, *sorted(found - {ENGLISH}))


@cache
def catalogue(language: Language) -> Catalogue:
    """A language's catalogue; an empty one where there is no file. What is fuzzy counts as not translated."""
    from babel.messages.pofile import read_po  # only where another language than English is read

    path = file_of(language)
    if not path.exists():
        return Catalogue({}, {}, _english_form)
    with path.open("rb") as file:
        read = read_po(file)
    known = [one for one in read if one.id and one.string and not one.fuzzy and agrees(one.id, one.string)]
    texts = {
        one.id: bound(one.string, language) for one in known if isinstance(one.id, str) and isinstance(one.string, str)
    }
    plurals = {
        one.id[0]: tuple(bound(told, language) for told in one.string or ())
        for one in known
        if not isinstance(one.id, str)
    }
    return Catalogue(texts, plurals, _form(read.plural_expr))


def agrees(written: str | Sequence[str], told: str | Sequence[str]) -> bool:
    """Whether a translation has the fields of the text, or fewer; one that has not would break the screen."""
    fields = set(_FIELD.findall(written if isinstance(written, str) else " ".join(written)))
    return all(set(_FIELD.findall(one)) <= fields for one in ([told] if isinstance(told, str) else told))


def _form(expression: str) -> Callable[[int], int]:
    """A plural rule as gettext itself reads it: the file's own words are never run as code of ours."""
    from gettext import c2py

    return c2py(expression)


def _english_form(count: int) -> int:
    return int(count != 1)


def bound(text: str, language: Language) -> str:
    """A text with the spaces that its language puts before high marks; a mark that English puts alone gets one."""
    if language.split("-")[0] != "fr":
        return text
    return _HIGH.sub(_BOUND, _BARE.sub(f"{_BOUND}\\1 ", text))


def direction(language: Language) -> str:
    """How a language is written: "ltr" or "rtl"."""
    return "rtl" if language.split("-")[0] in _RIGHT_TO_LEFT else "ltr"


def forget() -> None:
    """Read catalogues anew: a test has added one."""
    languages.cache_clear()
    catalogue.cache_clear()
