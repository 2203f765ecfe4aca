"""`sieveward replay`: the same rules over recorded readings."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Annotated

import typer

from collector.cli.check import site_or_refuse
from collector.cli.says import EXIT_FAILED, Counting, Refused, progress, say_error, say_json
from collector.reading import Reading, iso_utc
from collector.recording import RecordingError
from collector.replay import Replay, Summary, merged
from collector.rules.events import event_line

_SHOWN_BROKEN = 20  # a wholly broken file must not bury its summary


def replay(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="Recordings: .csv, .parquet, .senml.jsonl.")],
    site_file: Annotated[Path, typer.Option("--site", metavar="SITE.toml", help="The site file.")],
    out: Annotated[Path | None, typer.Option(metavar="EVENTS.jsonl", help="Where events go; else to stdout.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The summary as one JSON object, after the events.")] = False,
) -> None:
    """Run the rules over recorded readings in event time; one JSON event a line.

    Example: sieveward replay night.csv --site site.toml --out events.jsonl
    """
    site = site_or_refuse(site_file)
    run = Replay(site)
    broken = _Broken(run.summary)
    try:
        with _sink(out) as sink, progress("readings") as shown:
            for event in run.events(_counted(merged(files, broken, site.facility.id), shown)):
                sink.write(event_line(event) + b"\n")
    except RecordingError as error:
        raise Refused(str(error)) from error
    _tell(run.summary, as_json)
    if broken.count:
        raise Refused(f"{broken.count} rows could not be read; they are left out above", EXIT_FAILED)


class _Broken:
    """Counts broken rows and shows the first of them."""

    def __init__(self, summary: Summary) -> None:
        self.count, self._summary = 0, summary

    def __call__(self, row: int, reason: str) -> None:
        self.count += 1
        self._summary.broken = self.count
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
