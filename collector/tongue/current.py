"""Which language is spoken now: that of a `with speaking(…)`, else what the finder says, else English."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

#: A tag such as "fr" or "pt-BR"; "en" is what texts are written in.
Language = str
ENGLISH: Final[Language] = "en"

_spoken: ContextVar[Language | None] = ContextVar("spoken", default=None)
_finders: list[Callable[[], Language | None]] = []


def language() -> Language:
    """The language in which texts are told in this thread or task."""
    told = _spoken.get()
    if told is None and _finders:
        told = _finders[-1]()
    return told or ENGLISH


def set_finder(finder: Callable[[], Language | None]) -> None:
    """Ask `finder` where no language was set: the dashboard knows whose screen is being drawn."""
    _finders[:] = [finder]


@contextmanager
def speaking(told: Language) -> Iterator[None]:
    """Tell texts in a language for a while."""
    token = _spoken.set(told)
    try:
        yield
    finally:
        _spoken.reset(token)
