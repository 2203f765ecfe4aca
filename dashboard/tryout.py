"""Trying limits in the background: one process of its own at a time, with progress, that can be stopped.

Rules of this file: no Streamlit; the child is less urgent than everything else here (nice), reads the store only, and
ends when nobody reads what it says. What it may take is bounded before it starts.
"""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path
from typing import Final

import msgspec

from collector.site import Site
from collector.store.history import open_reader
from collector.store.readings import read_marks
from collector.whatif.sidebyside import Lost
from collector.whatif.tally import Comparison, Difference

#: More is for the command line: half an hour of one of two cores.
MOST_READINGS: Final = 3_000_000
#: Both runs, on one slow core beside everything else; the progress shows what it really is.
READINGS_PER_S: Final = 3_000
LISTED: Final = 100
_IN_HOURS: Final = "SELECT coalesce(sum(n), 0) FROM rollup_1h WHERE unit_no = ? AND at_ms >= ? AND at_ms < ?"


class Request(msgspec.Struct, frozen=True, kw_only=True):
    """What to try: the text of a file of changes on from_ms <= time < to_ms; units () are all of the site."""

    data_dir: str
    toml: str
    from_ms: int
    to_ms: int
    units: tuple[str, ...] = ()


class Outcome(msgspec.Struct, frozen=True, kw_only=True):
    """What it came to; `differences` are the gravest LISTED."""

    comparison: Comparison
    differences: list[Difference]
    lost: list[Lost]


class Told(msgspec.Struct, kw_only=True):
    """A line from the child: how far it is, or the outcome, or why there is none."""

    at_ms: int = 0
    readings: int = 0
    outcome: Outcome | None = None
    failed: str = ""


class Tryout:
    """One try; `told` is the last word of the child, `over` whether it will say no more."""

    def __init__(self, request: Request) -> None:
        self.request, self.told, self.stopped = request, Told(at_ms=request.from_ms), False
        argv = [sys.executable, "-m", "dashboard.tryout_child"]
        self._child = subprocess.Popen(argv, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        child = self._child
        assert child.stdin is not None  # noqa: S101 - for the type checker: both are pipes
        assert child.stdout is not None  # noqa: S101
        with child:
            try:
                child.stdin.write(msgspec.json.encode(self.request) + b"\n")
                child.stdin.close()
                for line in child.stdout:
                    self.told = msgspec.json.decode(line, type=Told)
            except (BrokenPipeError, msgspec.DecodeError) as error:
                self.told = Told(failed=str(error))
        if not (self.stopped or self.told.outcome or self.told.failed):
            self.told = Told(failed=f"the process ended with status {child.returncode}")

    @property
    def over(self) -> bool:
        """Whether it has come to an end, good or bad."""
        return not self._thread.is_alive()

    @property
    def share(self) -> float:
        """How far it is, 0 to 1."""
        span = self.request.to_ms - self.request.from_ms
        return min(1.0, max(0.0, (self.told.at_ms - self.request.from_ms) / max(span, 1)))

    def stop(self) -> None:
        """End it; nothing has been altered."""
        self.stopped = True
        self._child.terminate()
        self._thread.join()


class Desk:
    """Where tries are handed in: one at a time for the whole dashboard."""

    def __init__(self) -> None:
        self._lock, self._last = threading.Lock(), None

    _last: Tryout | None

    def start(self, request: Request) -> Tryout | None:
        """A try that has begun; None while another goes on."""
        with self._lock:
            if self._last is not None and not self._last.over:
                return None
            self._last = Tryout(request)
            return self._last


def chosen(site: Site, wards: list[str], units: list[str]) -> tuple[str, ...]:
    """The units to try; () when that is all of them."""
    found = [unit.id for unit in site.units if not wards or (unit.ward or "unassigned") in wards]
    found = [unit for unit in found if not units or unit in units]
    return () if len(found) == len(site.units) else tuple(found)


def readings_in(data_dir: Path, from_ms: int, to_ms: int, units: tuple[str, ...]) -> tuple[int, int | None]:
    """About how many readings a span holds of these units (() all), and from when on single ones are kept."""
    conn = open_reader(data_dir)
    try:
        marks = read_marks(conn)
        rolled = marks.get("rolled_until", 0)
        names = dict(conn.execute("SELECT unit, unit_no FROM unit_no").fetchall())
        numbers = [no for unit, no in names.items() if not units or unit in units]
        until = min(to_ms, rolled)
        count = sum(conn.execute(_IN_HOURS, (no, from_ms, until)).fetchone()[0] for no in numbers)
        since = (max(from_ms, rolled // 3_600_000 * 3_600_000), to_ms)
        (hot,) = conn.execute("SELECT count(*) FROM reading WHERE time_ms >= ? AND time_ms < ?", since).fetchone()
    finally:
        conn.close()
    return count + hot * len(numbers) // max(1, len(names)), marks.get("raw_from")
