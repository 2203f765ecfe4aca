"""`sieveward collect`: the collector alone, against any broker."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from collector.cli.check import site_or_refuse
from collector.cli.doors import AccountOption, BrokerOption, door_or_refuse
from collector.cli.says import EXIT_FAILED, Refused, say_error
from collector.clock import Clock, ScaledClock, WallClock
from collector.door import Door
from collector.group.fence import seen_epoch
from collector.live import Collector
from collector.log import log_to_stderr
from collector.site import Site, SiteError
from collector.siteedit.begin import begin_site
from collector.store import StoreError, open_store


@contextmanager
def stop_on_signals() -> Iterator[threading.Event]:
    """An event that SIGINT and SIGTERM set, so that a turn is always finished before the end."""
    stop = threading.Event()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def clock_from(text: str | None) -> Clock:
    """The wall clock, or a demo's clock given as WALL_MS,AT_MS,SPEED."""
    if text is None:
        return WallClock()
    try:
        wall_ms, at_ms, speed = text.split(",")
        return ScaledClock(int(wall_ms), int(at_ms), float(speed))
    except ValueError as error:
        raise Refused(f"'{text}' is no clock; write WALL_MS,AT_MS,SPEED") from error


def run_collector(site_file: Path, site: Site, door: Door, data: Path, clock: Clock, stop: threading.Event) -> None:
    """Collect until `stop` is set; Refused with what the store says when it cannot go on."""
    try:
        with open_store(data, site.facility.id) as store:
            if seen_epoch(store.conn):
                raise Refused(f"{store.path} is followed by a group: use 'sieveward group collect', not this command")
            collector = Collector(
                site,
                store,
                door,
                clock,
                site_path=str(site_file.absolute()),
                site_text=site_file.read_text(encoding="utf-8"),
            )
            try:
                collector.run(stop)
            finally:
                collector.close()
    except StoreError as error:
        raise Refused(str(error), EXIT_FAILED) from error


def _begin(site_file: Path, facility: str) -> None:
    try:
        if begin_site(site_file, facility):
            say_error(f"{site_file} written: nothing is in it yet; the dashboard's page 'First use' leads through it")
    except SiteError as error:
        raise Refused(str(error)) from error


def collect(
    site_file: Annotated[Path, typer.Option("--site", metavar="SITE.toml", help="The site file.")],
    broker: BrokerOption = None,
    account: AccountOption = None,
    data: Annotated[Path, typer.Option(metavar="DIR", help="Where everything is kept.")] = Path("data"),
    new: Annotated[
        str | None,
        typer.Option("--new", metavar="ID", help="Begin an empty hospital of this id where there is no file."),
    ] = None,
    clock: Annotated[str | None, typer.Option(hidden=True)] = None,
) -> None:
    """Collect readings from a broker, follow every unit by the rules, keep the record, publish the wards' signals.

    --new writes a site file with nothing in it but the id; the dashboard's page "First use" leads through the rest.

    With --broker, a user name and password are taken from SIEVEWARD_MQTT_USER and SIEVEWARD_MQTT_PASSWORD.
    Example: sieveward collect --site site.toml --account /etc/sieveward/keys/collector.toml --data data
    Example: sieveward collect --site site.toml --new lakeside --data data
    """
    if new is not None:
        _begin(site_file, new)
    site = site_or_refuse(site_file)
    door = door_or_refuse(broker, account)
    log_to_stderr()
    with stop_on_signals() as stop:
        say_error(f"collecting for '{site.facility.id}' ({len(site.units)} units) from {door.where}")
        run_collector(site_file, site, door, data, clock_from(clock), stop)
