"""Where in a TOML text a key stands: tomllib gives values without lines, and people need the line."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

_HEADER = re.compile(r"""^\s*\[(\[)?\s*([A-Za-z0-9_."'\- ]+?)\s*\]?\]\s*(#.*)?$""")
_KEY = re.compile(r"""^\s*([A-Za-z0-9_."'\- ]+?)\s*=""")


def _names(dotted: str) -> list[str]:
    return [name.strip().strip("\"'") for name in dotted.split(".")]


class LineFinder:
    """Finds the line of a path such as `("unit", 2, "model")` in a TOML text."""

    def __init__(self, text: str) -> None:
        self._line: dict[tuple[str | int, ...], int] = {(): 1}
        here: tuple[str | int, ...] = ()
        counts: dict[tuple[str | int, ...], int] = {}
        for number, line in enumerate(text.splitlines(), 1):
            if header := _HEADER.match(line):
                here = self._enter(_names(header[2]), bool(header[1]), counts)
                self._line.setdefault(here, number)
            elif key := _KEY.match(line):
                names = _names(key[1])
                for depth in range(1, len(names) + 1):
                    self._line.setdefault((*here, *names[:depth]), number)

    @staticmethod
    def _enter(names: list[str], is_array: bool, counts: dict[tuple[str | int, ...], int]) -> tuple[str | int, ...]:
        here: tuple[str | int, ...] = ()
        for depth, name in enumerate(names):
            here = (*here, name)
            if depth == len(names) - 1 and is_array:
                counts[here] = counts.get(here, -1) + 1
                return (*here, counts[here])
            if here in counts:
                here = (*here, counts[here])
        return here

    def line(self, path: tuple[str | int, ...]) -> int:
        """The line of the path, or of the nearest table around it."""
        while path not in self._line:
            path = path[:-1]
        return self._line[path]


def nearest(word: str, known: Iterable[str]) -> str:
    """A hint that names the nearest known word, or lists the known ones; empty when there are none."""
    options = list(known)
    if close := get_close_matches(word, options, n=1, cutoff=0.5):
        return f"; did you mean '{close[0]}'?"
    return f"; known here: {', '.join(options)}" if options else ""
