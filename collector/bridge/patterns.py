"""Regular expressions of profiles, matched in time linear in the line.

A backtracking matcher can take minutes over forty signs of noise with a pattern such as (\\d+)*;, and a bridge that
hangs is a silent ward. RE2 never backtracks: it has no look-around and no back-references, and with the bound on a
line's length (`framing.MAX_BYTES`) a match has a bound in time, whoever wrote the pattern.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Protocol, cast

import re2


class PatternError(ValueError):
    """A pattern that cannot be used, and why."""


class Match(Protocol):
    """What was found."""

    def groupdict(self) -> dict[str, str | None]: ...


class Pattern(Protocol):
    """A compiled pattern."""

    groupindex: Mapping[str, int]

    def fullmatch(self, text: str) -> Match | None: ...


@lru_cache(maxsize=64)
def compile_pattern(text: str) -> Pattern:
    """Compile a pattern with named groups; PatternError says what is wrong with it."""
    if not text:
        raise PatternError("give a pattern with named groups, such as 'O2 (?P<purity_pct>\\d+\\.\\d)'")
    options = re2.Options()
    options.log_errors = False
    try:
        return cast("Pattern", re2.compile(text, options))
    except re2.error as error:
        said = error.args[0].decode() if error.args and isinstance(error.args[0], bytes) else str(error)
        raise PatternError(f"not a usable pattern: {said} (no look-around, no back-references)") from error
