"""A person who writes at the dashboard, as a process that may be killed."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path
from typing import IO


class Hand:
    """A person at the dashboard; `promised` holds every row that was said to be written, as (seq, mark)."""

    def __init__(self, data: Path, name: str) -> None:
        self._data, self._name, self._lives = data, name, 0
        self.promised: list[tuple[int, str]] = []
        self.start()

    def start(self) -> None:
        """Begin, again if need be, under a name of its own."""
        self._lives += 1
        argv = [sys.executable, "-m", "tests.integration.hand_child", str(self._data), f"{self._name}{self._lives}"]
        self._process = subprocess.Popen(argv, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert self._process.stdout is not None
        self._thread = threading.Thread(target=self._hear, args=(self._process.stdout,))
        self._thread.start()

    def _hear(self, out: IO[str]) -> None:
        for line in out:
            if line.endswith("\n"):
                seq, _, mark = line.strip().partition(" ")
                self.promised.append((int(seq), mark))
        out.close()

    def kill(self) -> None:
        """kill -9; what it said before counts."""
        self._process.kill()
        self._process.wait()
        self._thread.join()
