"""`sieveward replay`: the same rules over recorded readings, or the rules of today and changed ones side by side."""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import IO, Annotated

import typer

from collector.blocks import Past
from collector.cli.check import site_or_refuse
from collector.cli.compared import tell_compared, tried_or_refuse
from collector.cli.export import LAST_MS, moment
from collector.cli.says import EXIT_FAILED, Counting, Refused, progress, say_error, say_json
from collector.reading import Reading, iso_utc
from collector.recording import Broken, RecordingError
from collector.replay import Replay, Summary, merged
from collector.rules.events import event_line
from collector.rules.limits import HOUR, MINUTE
from collector.sharded import ShardedReplay, worthwhile_jobs
from collector.site import Site
from collector.store import StoreError
from collector.store.history import extent, facility_id, iter_readings, open_reader
from collector.whatif.sidebyside import SideBySide
from collector.whatif.tally import difference_line

_SHOWN_BROKEN = 20  # a wholly broken file must not bury its summary


def replay(
    site_file: Annotated[Path, typer.Option("--site", metavar="SITE.toml", help="The site file.")],
    files: Annotated[
        list[Path] | None, typer.Argument(metavar="FILE…", help="Recordings: .csv, .parquet, .senml.jsonl.")
    ] = None,
    data: Annotated[
        Path | None, typer.Option(metavar="DIR", help="The collector's data directory, instead of files.")
    ] = None,
    since: Annotated[str | None, typer.Option("--from", help="From this moment on (RFC 3339).")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Before this moment.")] = None,
    changes: Annotated[
        Path | None, typer.Option(metavar="CHANGES.toml", help="Limits to try, side by side with today's.")
    ] = None,
    against: Annotated[
        Path | None, typer.Option(metavar="OTHER.toml", help="A whole other site file to try instead.")
    ] = None,
    window_min: Annotated[
        float, typer.Option(min=1, max=10_080, help="Raisings so near in time are the same alarm.")
    ] = 60.0,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.jsonl", help="Where events go, or what differs; events else to stdout.")
    ] = None,
    jobs: Annotated[
        int, typer.Option(min=0, help="Processes, each with whole wards; 0: one a core if it is worth it.")
    ] = 0,
    as_json: Annotated[
        bool, typer.Option("--json", help="The summary, or the comparison, as one JSON object.")
    ] = False,
) -> None:
    """Run the rules over recorded readings in event time; one JSON event a line.

    With --changes (or --against) the past is run twice in one pass, as it is today and with the change, and both are
    told side by side. Nothing in the data directory is altered.

    Example: sieveward replay night.csv --site site.toml --out events.jsonl

    Example: sieveward replay --data data --from 2026-11-01T00:00:00Z --site site.toml --changes changes.toml
    """
    site = site_or_refuse(site_file)
    tried = tried_or_refuse(site, changes, against)
    broken = _Broken()
    window_ms = round(window_min * MINUTE)
    past = _past(site, files or [], data, (since, until))
    run: Replay | SideBySide | ShardedReplay
    if tried is not None:
        run = SideBySide(site, tried, window_ms=window_ms)
    else:
        jobs = jobs or worthwhile_jobs(past)
        run = ShardedReplay(site, past, jobs) if jobs > 1 else Replay(site)
    try:
        with progress("readings") as shown:
            lines = _lines(run, past, site, broken, shown)
            if out is None and isinstance(run, SideBySide):
                deque(lines, maxlen=0)  # differences are not for stdout: what is told of them is
            else:
                _write(lines, out)
    except (RecordingError, StoreError) as error:
        raise Refused(str(error)) from error
    if not isinstance(run, SideBySide):
        run.summary.broken = broken.count
        _tell(run.summary, as_json)
    elif as_json:
        say_json(run.result(broken.count))
    else:
        tell_compared(run.result(broken.count))
    if broken.count:
        raise Refused(f"{broken.count} rows could not be read; they are left out above", EXIT_FAILED)


def _lines(
    run: Replay | SideBySide | ShardedReplay, past: Past, site: Site, broken: _Broken, shown: Counting
) -> Iterator[bytes]:
    """Events, or differences, as lines."""
    if isinstance(run, ShardedReplay):
        return run.lines(broken, shown)
    readings = _counted(_readings(past, site, broken), shown)
    if isinstance(run, Replay):
        return map(event_line, run.events(readings))
    return map(difference_line, run.differences(readings))


def _write(lines: Iterator[bytes], out: Path | None) -> None:
    """Go through the past; lines go to `out` or to stdout."""
    with _sink(out) as sink:
        for line in lines:
            sink.write(line + b"\n")


def _past(site: Site, files: list[Path], data: Path | None, span: tuple[str | None, str | None]) -> Past:
    """Which past; of a store what it holds now, so that whoever reads it reads the same."""
    from_ms, to_ms = moment(span[0], 0), moment(span[1], LAST_MS)
    if bool(files) == (data is not None):
        raise Refused("say which past: recordings, or --data with the collector's data directory")
    if data is None:
        return Past(tuple(files), None, from_ms, to_ms)
    try:
        with closing(open_reader(data)) as conn:
            if (facility := facility_id(conn)) not in ("", site.facility.id):
                raise Refused(f"{data} holds readings of '{facility}', and the site file is that of "
                              f"'{site.facility.id}'")  # fmt: skip
            newest_ms = extent(conn).newest_ms
    except StoreError as error:
        raise Refused(str(error)) from error
    return Past((), data, from_ms, min(to_ms, (newest_ms or 0) + HOUR))


def _readings(past: Past, site: Site, broken: Broken) -> Iterator[Reading]:
    """The readings of files or of a store, in time order, streaming."""
    if past.data is None:
        stream = merged(past.files, broken, site.facility.id)
        yield from (r for r in stream if past.from_ms <= r.time_ms < past.to_ms)
        return
    with closing(open_reader(past.data)) as conn:
        yield from iter_readings(conn, past.from_ms, past.to_ms)


class _Broken:
    """Counts broken rows and shows the first of them."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, row: int, reason: str) -> None:
        self.count += 1
        if self.count <= _SHOWN_BROKEN:
            say_error(reason)
        elif self.count == _SHOWN_BROKEN + 1:
            say_error("… more broken rows follow; only their number is shown at the end")


def _counted(readings: Iterator[Reading], shown: Counting) -> Iterator[Reading]:
    for number, reading in enumerate(readings, 1):
        if number % 10_000 == 0:
            shown(number)
        yield reading


@contextmanager
def _sink(out: Path | None) -> Iterator[IO[bytes]]:
    if out is None:
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    try:
        with out.open("wb") as file:
            yield file
    except OSError as error:
        raise Refused(f"{out}: cannot be written: {error}") from error


def _tell(summary: Summary, as_json: bool) -> None:
    if as_json:
        sys.stdout.flush()
        say_json(summary)
        return
    span = "none"
    if summary.first_ms is not None and summary.last_ms is not None:
        span = f"{iso_utc(summary.first_ms)} to {iso_utc(summary.last_ms)}"
    say_error(f"{summary.readings} readings ({span}), {summary.events} events")
    for name, count in (
        ("out of order", summary.late),
        ("of units the site does not have", summary.unknown_units),
    ):
        if count:
            say_error(f"  {count} readings {name}")
    for condition, count in sorted(summary.raised.items()):
        say_error(f"  {condition} raised {count} times")
