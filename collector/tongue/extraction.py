"""Takes the texts out of the modules of texts, for `pybabel extract` (see collector/locale/babel.cfg) and for tests."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import IO, Final

from collector.tongue.rewriting import is_constant, is_drawing, is_text, is_words, texts_of

ROOT: Final = Path(__file__).parents[2]
#: Texts that stand outside modules of texts, since they are sent and stored in English.
CATALOGUE: Final = "collector.rules.catalogue"
TERMS: Final = "collector.terms"
TASKS: Final = "collector.service.tasks"

Text = str | tuple[str, str]


def modules() -> list[str]:
    """Every module of texts, by name."""
    paths = [path for room in ("collector", "dashboard") for path in (ROOT / room).rglob("*.py")]
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in paths]
    return sorted(name for name in names if is_words(name) or name in (CATALOGUE, TASKS, TERMS))


def texts(module: str) -> list[tuple[int, Text]]:
    """The texts of a module with their lines, in order: of its constants as they are in the end, and its functions."""
    source = (ROOT / Path(*module.split("."))).with_suffix(".py").read_text(encoding="utf-8")
    imported = import_module(module)
    found: list[tuple[int, Text]] = []
    for statement in ast.parse(source).body:
        target = statement.target if isinstance(statement, ast.AnnAssign) else None
        if isinstance(target, ast.Name) and is_constant(target.id):
            found += [
                (statement.lineno, text)
                for text in _told(ModuleType.__getattribute__(imported, target.id), drawing=is_drawing(module))
            ]
    if module == TERMS:
        return [(1, text) for name in ("REASONS", "PARTS") for text in ModuleType.__getattribute__(imported, name)]
    if module == TASKS:
        return [(1, one.task.name) for one in ModuleType.__getattribute__(imported, "DEFAULTS")]
    if module == CATALOGUE:
        conditions = ModuleType.__getattribute__(imported, "CATALOGUE").values()
        return [*((1, text) for one in conditions for text in (one.title, one.action)),
                *((line, text) for line, text in found if " " in str(text))]  # fmt: skip
    return sorted([*found, *texts_of(source, module)], key=lambda one: one[0])


def _told(value: object, *, drawing: bool = False) -> Iterator[str]:
    if isinstance(value, str) and is_text(value, drawing=drawing):
        yield value
    elif isinstance(value, Mapping):
        for one in value.values():
            yield from _told(one, drawing=drawing)
    elif isinstance(value, tuple | list):
        for one in value:
            yield from _told(one, drawing=drawing)


def extract(
    fileobj: IO[bytes], keywords: object, comment_tags: object, options: Mapping[str, str]
) -> Iterator[tuple[int, str, Text, list[str]]]:  # fmt: skip
    """Babel's way in: (line, function, text or texts, comments) of one file."""
    name = ".".join(Path(fileobj.name).resolve().relative_to(ROOT).with_suffix("").parts)
    if name in modules():
        for line, text in texts(name):
            yield line, "gettext" if isinstance(text, str) else "ngettext", text, []
