"""Reads the scenario files: tracks of readings, drawn as straight lines between points, and the events expected."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from collector.reading import Reading
from collector.site import Site, load_site

FOLDER = Path(__file__).parent / "scenarios"
START_MS = 1_790_000_000_000  # some moment; scenarios count from it
EVERY_MS = 10_000


@dataclass(frozen=True)
class ScenarioFile:
    """One scenario: what happens and what the rules must say."""

    name: str
    title: str
    readings: list[Reading]
    expected: list[tuple[str, ...]]


def scenario_site() -> Site:
    return load_site(FOLDER / "site.toml")


def names() -> list[str]:
    return sorted(path.stem for path in FOLDER.glob("*.toml") if path.stem != "site")


def load_scenario(name: str) -> ScenarioFile:
    data = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    readings = [reading for track in data["track"] for reading in _drawn(track["unit"], track["points"])]
    readings.sort(key=lambda reading: (reading.time_ms, reading.unit))
    return ScenarioFile(name, data["title"], readings, [tuple(row) for row in data["events"]])


def _drawn(unit: str, points: list[list[object]]) -> Iterator[Reading]:
    rows = [(offset_ms(str(point[0])), [_value(cell) for cell in point[1:]]) for point in points]
    last_ms = rows[-1][0]
    for at_ms in range(rows[0][0], last_ms + 1, EVERY_MS):
        before = max(row for row in rows if row[0] <= at_ms)
        after = min(row for row in rows if row[0] >= at_ms)
        share = (at_ms - before[0]) / (after[0] - before[0]) if after[0] > before[0] else 0.0
        values = [_between(a, b, share) for a, b in zip(before[1], after[1], strict=True)]
        purity, flow, power, volts = values
        yield Reading(unit, START_MS + at_ms, purity, flow, power, volts=volts)


def _value(cell: object) -> float | None:
    return None if cell == "-" else float(str(cell))


def _between(a: float | None, b: float | None, share: float) -> float | None:
    return None if a is None or b is None else round(a + (b - a) * share, 6)


def offset_ms(text: str) -> int:
    """ "H:MM" or "H:MM:SS" in ms."""
    hours, minutes, seconds = ([int(part) for part in text.split(":")] + [0])[:3]
    return ((hours * 60 + minutes) * 60 + seconds) * 1000


def offset_text(time_ms: int) -> str:
    seconds = (time_ms - START_MS) // 1000
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"
