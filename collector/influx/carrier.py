"""The copy to InfluxDB, put together from a site file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from collector.influx.feed import Feed
from collector.influx.marks import Marks
from collector.influx.sender import Sender
from collector.influx.target import target_of
from collector.site import Site


@contextmanager
def influx_carrier(site: Site, site_path: Path | None, data: Path, now_ms: Callable[[], int]) -> Iterator[Feed | None]:
    """The carrier, None where the site file names no InfluxDB.

    A wrong address or token is no reason not to start: the carrier says so at each turn, and others are not held up.
    """
    target = target_of(site, site_path)
    if target is None:
        yield None
        return
    sender, marks = Sender(target), Marks(data, target.key)
    feed = Feed(target.facility, data, sender, marks, now_ms=now_ms)
    try:
        yield feed
    finally:
        marks.close()
        sender.close()
