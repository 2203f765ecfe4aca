"""`sieveward export`: stored readings in the form that `replay` reads."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from collector.cli.known import known, told_site_path
from collector.cli.says import EXIT_FAILED, Refused, progress, say_error
from collector.influx.longer import long_readings
from collector.influx.readback import FarError, Readback
from collector.influx.target import target_of
from collector.reading import iso_utc, parse_utc
from collector.recording import RecordingError, open_writer
from collector.store import StoreError
from collector.store.history import facility_id, iter_readings, open_reader

LAST_MS = 2**53  # further than any reading: "to the end"


def moment(text: str | None, default: int) -> int:
    """A moment given on the command line, in ms; Refused when it is none."""
    if text is None:
        return default
    try:
        return parse_utc(text)
    except ValueError as error:
        raise Refused(f"'{text}' is no moment; write it as 2026-11-25T08:00:00Z") from error


def export(
    out: Annotated[Path, typer.Option(metavar="FILE", help="A .csv, .parquet or .senml.jsonl file to write.")],
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    unit: Annotated[list[str] | None, typer.Option(help="Only this unit; may be given again.")] = None,
    since: Annotated[str | None, typer.Option("--from", help="From this moment on (RFC 3339).")] = None,
    until: Annotated[str | None, typer.Option("--to", help="Before this moment.")] = None,
    influx: Annotated[
        bool, typer.Option("--influx", help="Also what the store no longer holds, from the site file's InfluxDB.")
    ] = False,
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
) -> None:
    """Write stored readings to a file, in time order.

    Example: sieveward export --data data --from 2026-11-01T00:00:00Z --out november.parquet
    """
    from_ms, to_ms = moment(since, 0), moment(until, LAST_MS)
    count, last_ms = 0, None
    far = _far(data, site_file) if influx else None
    try:
        conn = open_reader(data)
        found = long_readings(conn, far, from_ms, to_ms, unit) if far else iter_readings(conn, from_ms, to_ms, unit)
        with open_writer(out, facility_id(conn)) as writer, progress("readings") as shown:
            for reading in found:
                writer.write(reading)
                count, last_ms = count + 1, reading.time_ms
                if count % 10_000 == 0:
                    shown(count)
    except (RecordingError, StoreError) as error:
        raise Refused(str(error)) from error
    except FarError as error:
        raise Refused(f"{out} is not whole: {error}", EXIT_FAILED) from error
    say_error(f"{count} readings written to {out}" + (f", the last of {iso_utc(last_ms)}" if last_ms else ""))


def _far(data: Path, site_file: Path | None) -> Readback:
    with known(data, site_file) as now:
        site = now.site
    target = target_of(site, site_file or told_site_path(data))
    if target is None:
        raise Refused("the site file names no InfluxDB; add a table [influx] to it, or leave --influx out")
    return Readback(target, target.timeout_ms / 1000)
