"""A real `sieveward bridge` on a pseudo-terminal, which may be killed; and the devices that speak on its line.

A line keeps nothing: what a bridge had read and not yet written down dies with it. So that it is known to the last
reading what a bridge has taken in, the devices say again, after each death, all that is not in its spool.
"""

from __future__ import annotations

import os
import pty
import re
import shutil
import subprocess
import sys
import termios
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from typing import IO

from collector.bridge.profile import shipped_profiles
from collector.bridge.spool import NAME
from collector.bridge.spool_file import SpoolFile
from collector.bridge.timekeeper import boot_id
from collector.reading import Reading
from simulator.serial_device import delimited

SPOOL_BYTES = 100_000_000
TURN_S = 0.005
CUT = b";4.00;340;;230.0;;\r\n"  # what is left of a line that nobody listened to from its beginning
UNIT = "[field.unit]\nfrom = 1\n"


def shared_line_profile() -> str:
    """The shipped profile of the simulator's line, with the unit's name in front of it: several devices on a line."""
    alone = shipped_profiles()["semicolon-line"].read_text(encoding="utf-8")
    return re.sub(r"(from|columns) = (\d+)", lambda found: f"{found[1]} = {int(found[2]) + 1}", alone) + UNIT


class SpeakingLine:
    """Devices that say `make(n)`, n from 0, once `due(n)`, while somebody listens; `again`: what was said twice."""

    def __init__(self, make: Callable[[int], Reading], due: Callable[[int], bool]) -> None:
        self.next = self.again = 0
        self._make, self._due = make, due
        self._end: int | None = None
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._rest, self._speaking = b"", False
        self._lock, self._stop = threading.Lock(), threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    @property
    def all_said(self) -> bool:
        """Whether there is nothing more to say."""
        return self._end is not None and self.next >= self._end and not self._rest

    def speak(self) -> None:
        """Somebody listens now, from the middle of a line on."""
        with self._lock:
            self._rest, self._speaking = CUT, True

    def hush(self, next_n: int) -> None:
        """Nobody listens any more; what is not taken in, from next_n on, is to be said again."""
        with self._lock:
            self._speaking, self._rest = False, b""
            termios.tcflush(self._slave, termios.TCIFLUSH)
            self.again += max(0, self.next - next_n)
            self.next = next_n

    def end_behind(self, multiple: int) -> None:
        """Say no more than what makes a multiple of so many with what is said already."""
        with self._lock:
            self._end = -(-self.next // multiple) * multiple

    def close(self) -> None:
        """End, as an adapter that is pulled out does."""
        self._stop.set()
        self._thread.join()
        os.close(self._slave)
        os.close(self._master)

    def _run(self) -> None:
        while not self._stop.wait(TURN_S):
            with self._lock:
                if self._speaking:
                    self._say()

    def _say(self) -> None:
        while self._rest or ((self._end is None or self.next < self._end) and self._due(self.next)):
            if not self._rest:
                reading = self._make(self.next)
                self._rest = f"{reading.unit};{delimited(reading)}\r\n".encode("ascii")
                self.next += 1
            try:
                self._rest = self._rest[os.write(self._master, self._rest) :]
            except BlockingIOError:  # the line is full: the bridge will read
                return


class BridgeOnLine:
    """The process; `kill` kills it and starts it anew where its spool ends."""

    def __init__(
        self, folder: Path, facility: str, broker: str, line: SpeakingLine, units: list[str], step_ms: int,
        first_ms: int, log: IO[bytes],
    ) -> None:  # fmt: skip
        self.folder, self.line, self._units, self._log = folder, line, units, log
        self._step_ms, self._first_ms, self._next = step_ms, first_ms, 0
        folder.mkdir()
        (folder / "line.toml").write_text(shared_line_profile(), encoding="utf-8")
        named = ", ".join(f'"{name}" = "{name}"' for name in units)
        (folder / "bridge.toml").write_text(
            f'facility = "{facility}"\nbridge = "b1"\nbroker = "{broker}"\nclock = "own"\nspool_mb = 100\n'
            f'[[port]]\npath = "{line.path}"\nprofile = "line.toml"\nunits = {{ {named} }}\n', encoding="utf-8",
        )  # fmt: skip
        self._start()

    @property
    def at_work(self) -> bool:
        """Whether it reads its line and is connected."""
        assert self._process.poll() is None, f"the bridge has ended; {self._log.name} says why"
        return self._open and self._online

    def _start(self) -> None:
        self._open = self._online = False
        argv = [sys.executable, "-m", "collector.cli", "bridge", str(self.folder / "bridge.toml")]
        self._process = subprocess.Popen(argv, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        self._reader = threading.Thread(target=self._hear, args=(self._process.stderr,))
        self._reader.start()

    def _hear(self, said: IO[bytes]) -> None:
        for text in said:
            self._log.write(text)
            if b" bridge-port " in text and b" state=open" in text:
                self._open = True
                self.line.speak()  # an opened port forgets what came before
            self._online = (self._online or b" bridge-online " in text) and b" bridge-lost " not in text
        said.close()

    def kill(self) -> None:
        """kill -9; what its spool has is what it took in."""
        self._die()
        self._next = max(self._next, self._behind_spool())
        self.line.hush(self._next)
        self._start()

    def _die(self) -> None:
        self._process.kill()
        self._process.wait()
        self._reader.join()

    def _behind_spool(self) -> int:
        """Behind the newest reading on disk; looked up in a copy, so that the files stay as the death left them.

        A bridge that has written anything has its newest reading there: what the broker has goes when more is written.
        """
        file = self._copy()
        if file is None:
            return 0
        rows = file.read(file.last_id - 1, 1) if file.last_id else []
        file.close()
        if not rows:
            return 0
        reading = rows[0][1]
        step = (reading.time_ms - self._first_ms) // self._step_ms
        return step * len(self._units) + self._units.index(reading.unit) + 1

    def _copy(self) -> SpoolFile | None:
        copy = self.folder / "looked-at"
        shutil.rmtree(copy, ignore_errors=True)
        if not (self.folder / "spool" / NAME).exists():
            return None
        shutil.copytree(self.folder / "spool", copy)
        return SpoolFile(copy / NAME, SPOOL_BYTES, boot_id())

    def end(self) -> int:
        """Stop it as a service is stopped; its exit code."""
        self._process.terminate()
        return self._process.wait(30)

    def faults(self) -> dict[str, int]:
        """Once it has ended: what its spool still has, has dropped, or was set aside with."""
        file = self._copy()
        assert file is not None
        found = {"spool_left_lost": file.waiting, "spool_dropped_lost": file.dropped}
        file.close()
        return found | {"spool_broken": len(list((self.folder / "spool").glob("damaged-*")))}

    def close(self) -> None:
        """End what still runs."""
        self._die()
        self.line.close()
