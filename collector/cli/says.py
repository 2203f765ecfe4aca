"""How the command speaks: results to stdout, everything else to stderr, and three exit statuses."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, Protocol

import msgspec
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

EXIT_FAILED: Final = 1
EXIT_WRONG: Final = 2

_stderr = Console(stderr=True, highlight=False, markup=False, soft_wrap=True)


class Refused(Exception):
    """A command that ends with a message and an exit status: 1 the work failed, 2 wrong usage or a wrong file."""

    def __init__(self, message: str, status: int = EXIT_WRONG) -> None:
        super().__init__(message)
        self.status = status


def say(text: str) -> None:
    """A result, to stdout."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def say_json(value: object) -> None:
    """A result for a program: one JSON object on a line."""
    say(msgspec.json.encode(value).decode())


def say_error(text: str) -> None:
    """Something for the person at the terminal, to stderr."""
    _stderr.print(text)


class Counting(Protocol):
    """Progress of a long work."""

    def __call__(self, done: int) -> None: ...


@contextmanager
def progress(title: str, total: int | None = None) -> Iterator[Counting]:
    """A progress bar on stderr, only on a terminal; the yielded function takes how much is done so far."""
    if not _stderr.is_terminal:
        yield lambda done: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=_stderr, transient=True) as bar:
        task = bar.add_task(title, total=total)
        yield lambda done: bar.update(task, completed=done)
