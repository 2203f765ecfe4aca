"""How fast a fleet gives readings: `python -m tests.bench.simulator_rate`. One core, nothing written anywhere."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import simulator
from collector.site import Site, load_site, parse_site
from simulator.fleet import Fleet
from simulator.scenario import load_scenario

T0 = 1_795_600_000_000
HOUR = 3_600_000
HOSPITAL = Path(simulator.__file__).parent / "hospital.toml"


def many(count: int) -> Site:
    """A site of so many units."""
    units = "".join(f'[[unit]]\nid = "u{n}"\n' for n in range(count))
    return parse_site(f'[facility]\nid = "sim-bench"\n{units}')


def timed(site: Site, scenario: str, hours: int, every_ms: int | None) -> tuple[int, float]:
    """Readings given, and seconds they took."""
    fleet = Fleet(site, load_scenario(scenario, site), 1, T0 - hours * HOUR, story_ms=T0)
    began = time.perf_counter()
    count = sum(1 for _ in fleet.readings(T0 - hours * HOUR, T0, every_ms))
    return count, time.perf_counter() - began


def main() -> None:
    """Measure a recording of the demo's hospital, of a large one, and a backfill of three days."""
    demo = load_site(HOSPITAL)
    for name, site, scenario, hours, every_ms in (
        ("24 units, every 10 s", demo, "night", 24, None),
        ("500 units, every 10 s", many(500), "calm", 4, None),
        ("24 units, 3 days every 60 s", demo, "night", 72, 60_000),
    ):
        runs = [timed(site, scenario, hours, every_ms) for _ in range(3)]
        count, seconds = min(runs, key=lambda run: run[1])
        sys.stdout.write(f"{name}: {count} readings in {seconds:.2f} s, {count / seconds:,.0f} a second\n")


if __name__ == "__main__":
    main()
