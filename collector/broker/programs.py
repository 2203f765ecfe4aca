"""Finding a broker's program on this machine, and which version it is."""

from __future__ import annotations

import re
import shutil
import subprocess
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ASK_S = 10.0
VERSION = re.compile(r"(\d+)\.(\d+)\.(\d+)")


class Program(NamedTuple):
    """A program file and its version."""

    version: tuple[int, ...]
    path: str

    def named(self, name: str) -> str:
        """The name with the version, for people."""
        return f"{name} {'.'.join(str(part) for part in self.version)}"


def find_programs(places: Iterable[str], ask: Sequence[str]) -> list[Program]:
    """The programs that lie at these places (a name is looked up on PATH) and tell their version when asked."""
    paths = [path for path in map(shutil.which, places) if path is not None]
    return [Program(version, path) for path in paths if (version := version_of([path, *ask])) is not None]


def version_of(command: Sequence[str]) -> tuple[int, ...] | None:
    """The version that a program prints; None when it cannot be run or names none."""
    try:
        asked = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=ASK_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    found = VERSION.search(asked.stdout + asked.stderr)
    return tuple(int(part) for part in found.groups()) if found else None
