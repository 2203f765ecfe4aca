"""`sieveward bridge --check PROFILE SAMPLE`: what a profile makes of a captured sample."""

from __future__ import annotations

from pathlib import Path

import typer

from collector.bridge.bridge_file import BridgeFileError
from collector.bridge.profile import find_profile, load_profile
from collector.bridge.sample import SampleResult, SampleRow, try_sample
from collector.bridge.values import Maker
from collector.cli.says import EXIT_FAILED, Refused, say, say_json
from collector.clock import WallClock
from collector.reading import QUANTITIES, iso_utc

_RAW_SHOWN = 60


def check(name: str, sample: Path, altitude_m: float, calibrated_altitude_m: float | None, as_json: bool) -> None:
    """Say what was read and what was refused; exit status 1 when anything was refused, or nothing read."""
    try:
        profile = load_profile(find_profile(name, Path()))
        data = sample.read_bytes()
        result = try_sample(profile, data, WallClock().now_ms(), Maker(profile, altitude_m, calibrated_altitude_m))
    except BridgeFileError as error:
        raise Refused(str(error)) from error
    except OSError as error:
        raise Refused(f"{sample}: cannot be read: {error.strerror}; name a file with captured bytes") from error
    if as_json:
        say_json({"read": result.read, "refused": len(result.rows) - result.read, "dropped_bytes": result.dropped_bytes,
                  "corrections": result.corrections, "rows": result.rows})  # fmt: skip
    else:
        _show(result, own_time=profile.field.time is not None)
    if not result.good:
        raise typer.Exit(EXIT_FAILED)


def _show(result: SampleResult, *, own_time: bool) -> None:
    fields = [name for name in (*QUANTITIES, "lamp")
              if any(row.reading and getattr(row.reading, name) is not None for row in result.rows)]  # fmt: skip
    shown = any(row.shown_pct is not None for row in result.rows)
    head = ["#", "unit", *(["time"] if own_time else []), *(["shown_pct"] if shown else []), *fields]
    table = [head, *(_cells(row, fields, own_time, shown) for row in result.rows if row.reading)]
    widths = [max(len(line[i]) for line in table) for i in range(len(head))]
    for line in table if len(table) > 1 else []:
        say("  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)))
    for row in result.rows:
        if row.reading is None:
            say(f"{row.number}: refused: {row.refused}   {row.raw[:_RAW_SHOWN]!r}")
    for said in result.corrections:
        say(f"note: {said}")
    say(f"{result.read} read, {len(result.rows) - result.read} refused, {result.dropped_bytes} bytes in no frame")


def _cells(row: SampleRow, fields: list[str], own_time: bool, shown: bool) -> list[str]:
    reading = row.reading
    values = ["" if (value := getattr(reading, name)) is None else f"{value:g}" if isinstance(value, float) else value
              for name in fields]  # fmt: skip
    time = [iso_utc(reading.time_ms)] if own_time and reading else []
    before = ["" if row.shown_pct is None else f"{row.shown_pct:g}"] if shown else []
    return [str(row.number), reading.unit if reading else "", *time, *before, *values]
