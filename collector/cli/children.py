"""Child processes of the demo: started with a log each, watched, and ended together."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Final, Self

END_S: Final = 10.0
_TAIL_LINES: Final = 8


class Children:
    """Named children; leaving the context ends them all, the last one started first."""

    def __init__(self, log_dir: Path) -> None:
        self._log_dir = log_dir
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        log_dir.mkdir(parents=True, exist_ok=True)

    def start(self, name: str, argv: Sequence[str], env: Mapping[str, str] | None = None) -> None:
        """Start a child; what it says goes to `<log_dir>/<name>.log`."""
        with self.log_of(name).open("ab") as log:
            # A session of its own: Ctrl-C at the terminal reaches the demo alone, which ends its children in order.
            self._running[name] = subprocess.Popen(
                argv, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env={**os.environ, **(env or {})},
                start_new_session=True,
            )  # fmt: skip

    def start_command(self, name: str, *words: str) -> None:
        """Start `sieveward WORDS…` as a child."""
        self.start(name, [sys.executable, "-m", "collector.cli", *words])

    def log_of(self, name: str) -> Path:
        """Where a child's log lies."""
        return self._log_dir / f"{name}.log"

    def ended(self) -> str | None:
        """The name of a child that has ended by itself, or None while all run."""
        return next((name for name, child in self._running.items() if child.poll() is not None), None)

    def last_words(self, name: str) -> str:
        """The end of a child's log."""
        lines = self.log_of(name).read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(lines[-_TAIL_LINES:])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for child in reversed(self._running.values()):
            child.terminate()
            try:
                child.wait(END_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
        self._running.clear()
