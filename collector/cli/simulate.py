"""`sieveward simulate`: simulated units to a broker, into a recording, or through a serial line."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Annotated, Final

import typer

from collector.cli.check import site_or_refuse
from collector.cli.collect import clock_from, stop_on_signals
from collector.cli.doors import AccountOption, door_or_refuse
from collector.cli.export import moment
from collector.cli.says import EXIT_FAILED, Refused, say, say_error
from collector.clock import Clock, ScaledClock, WallClock
from collector.door import Door
from collector.recording import RecordingError
from simulator import HOSPITAL
from simulator.fleet import Fleet
from simulator.publish import PublishError, publish
from simulator.record import record
from simulator.scenario import ScenarioError, load_scenario
from simulator.serial_device import SerialDevice

_HOUR_MS: Final = 3_600_000


def simulate(
    scenario: Annotated[
        str, typer.Option(help="What happens: a scenario's name (calm, night, one-unit) or file.")
    ] = "night",
    site_file: Annotated[Path, typer.Option("--site", metavar="SITE.toml", help="A simulator's site file.")] = HOSPITAL,
    broker: Annotated[
        str | None, typer.Option(metavar="HOST:PORT", help="Publish to this broker until stopped.")
    ] = None,
    account: AccountOption = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write a recording instead.")] = None,
    serial: Annotated[
        str | None, typer.Option(metavar="UNIT", help="Play one unit through a serial line instead.")
    ] = None,
    hours: Annotated[float, typer.Option(min=0.01, help="How long a recording is.")] = 5.0,
    start: Annotated[str | None, typer.Option("--from", help="When the story begins (RFC 3339); else now.")] = None,
    speed: Annotated[float, typer.Option(min=1, max=600, help="How many times faster than real time.")] = 1.0,
    seed: Annotated[int, typer.Option(help="Another seed is another hospital of the same kind.")] = 1,
    clock: Annotated[str | None, typer.Option(hidden=True)] = None,
    past_days: Annotated[float, typer.Option(hidden=True)] = 0.0,
) -> None:
    """Simulate concentrators by a scenario, to a broker, into a file or through a serial line.

    Only facilities whose id begins with sim- are simulated. --account may be a folder with an account for each bridge.
    Example: sieveward simulate --scenario night --out night.csv
    """
    if sum(way is not None for way in (broker, account, out, serial)) != 1:
        raise Refused("say where to: one of --broker, --account, --out or --serial")
    now = _clock(clock, speed)
    fleet = make_fleet(site_file, scenario, seed, moment(start, now.now_ms()), past_days)
    try:
        if out is not None:
            count = record(fleet, out, fleet.story_ms, fleet.story_ms + int(hours * _HOUR_MS))
            say_error(f"{count} readings written to {out}")
            return
        with stop_on_signals() as stop:
            if serial is not None:
                _play(fleet, serial, now, stop)
            else:
                sent = publish(fleet, _doors(broker, account), now, stop, since_ms=fleet.story_ms)
                say_error(f"{sent.readings} readings sent in {sent.packs} packs, {sent.dropped} dropped")
    except (PublishError, RecordingError) as error:
        raise Refused(str(error)) from error
    except OSError as error:
        raise Refused(str(error), EXIT_FAILED) from error


def make_fleet(site_file: Path, scenario: str, seed: int, story_ms: int, past_days: float = 0.0) -> Fleet:
    """The fleet of a scenario whose story begins at story_ms and whose past reaches past_days further back."""
    site = site_or_refuse(site_file)
    try:
        return Fleet(
            site, load_scenario(scenario, site), seed, story_ms - int(past_days * 24 * _HOUR_MS), story_ms=story_ms
        )
    except ScenarioError as error:
        raise Refused(str(error)) from error


def _clock(text: str | None, speed: float) -> Clock:
    if text is not None or speed == 1.0:
        return clock_from(text) if text is not None else WallClock()
    wall_ms = time.time_ns() // 1_000_000
    return ScaledClock(wall_ms, wall_ms, speed)


def _doors(broker: str | None, account: Path | None) -> Door | dict[str, Door]:
    """One door for all bridges, or each bridge's own from a folder of account files (accounts/ of a folder of keys)."""
    if account is None or not account.is_dir():
        return door_or_refuse(broker, account)
    files = sorted(account.glob("bridge-*.toml"))
    return {path.stem.removeprefix("bridge-"): door_or_refuse(None, path) for path in files}


def _play(fleet: Fleet, unit: str, clock: Clock, stop: threading.Event) -> None:
    if unit not in fleet.units:
        raise Refused(f"no unit '{unit}' is played; there are {', '.join(fleet.units)}")
    device = SerialDevice(fleet, unit, clock)
    say(device.start())
    stop.wait()
    device.stop()
