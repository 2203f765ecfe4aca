"""Writes a fleet's readings to a recording: CSV, Parquet or SenML lines, by the file's name."""

from __future__ import annotations

from pathlib import Path

from collector.recording import open_writer
from simulator.fleet import Fleet


def record(fleet: Fleet, path: Path, from_ms: int, to_ms: int, every_ms: int | None = None) -> int:
    """Record from_ms <= moment < to_ms and return how many readings were written; RecordingError when it cannot be."""
    count = 0
    with open_writer(path, fleet.facility) as writer:
        for reading in fleet.readings(from_ms, to_ms, every_ms):
            writer.write(reading)
            count += 1
    return count
