"""The process that tries limits: a request as a line of JSON on stdin, progress and outcome as lines on stdout.

Usage: python -m dashboard.tryout_child, as `tryout` starts it.
"""

from __future__ import annotations

import heapq
import os
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

import msgspec

from collector.reading import Reading
from collector.site import Site, SiteError, parse_site
from collector.store import StoreError
from collector.store.history import iter_readings, open_reader, status
from collector.whatif.changes import ChangesError, parse_changes
from collector.whatif.sidebyside import SideBySide
from collector.whatif.tally import weight
from dashboard.tryout import LISTED, Outcome, Request, Told

NICE: Final = 15
_SAY_EVERY: Final = 2_000  # readings
_SAY_EVERY_S: Final = 0.3


def say(told: Told) -> None:
    """One line; BrokenPipeError when nobody listens any more."""
    sys.stdout.buffer.write(msgspec.json.encode(told) + b"\n")
    sys.stdout.buffer.flush()


def only(site: Site, units: tuple[str, ...]) -> Site:
    """The site with these units alone; () leaves it as it is."""
    if not units:
        return site
    kept = tuple(unit for unit in site.units if unit.id in units)
    return Site(facility=site.facility, ward=site.wards, model=site.models, unit=kept)


def tried(request: Request) -> Outcome:
    """Go through the past once; ChangesError, SiteError or StoreError when it cannot be."""
    with closing(open_reader(Path(request.data_dir))) as conn:
        site = only(parse_site(str((status(conn, "site") or {}).get("text", ""))), request.units)
        run = SideBySide(site, parse_changes(request.toml, site, name="the changes"))
        readings = iter_readings(conn, request.from_ms, request.to_ms, request.units or None)
        gravest = heapq.nlargest(LISTED, run.differences(_told(readings)), key=weight)
    return Outcome(comparison=run.result(), differences=gravest, lost=run.lost())


def _told(readings: Iterable[Reading]) -> Iterator[Reading]:
    said_s = time.monotonic()
    for number, reading in enumerate(readings, 1):
        if not number % _SAY_EVERY and time.monotonic() - said_s > _SAY_EVERY_S:
            said_s = time.monotonic()
            say(Told(at_ms=reading.time_ms, readings=number))
        yield reading


def main() -> None:
    """One request, then the end."""
    os.nice(NICE)
    with suppress(BrokenPipeError):
        try:
            say(Told(outcome=tried(msgspec.json.decode(sys.stdin.buffer.readline(), type=Request))))
        except (ChangesError, SiteError, StoreError, msgspec.DecodeError) as error:
            say(Told(failed=str(error)))


if __name__ == "__main__":
    main()
