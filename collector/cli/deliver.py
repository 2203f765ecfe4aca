"""`sieveward deliver`: what is stored, carried outwards beside the collector."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Annotated, Final, NamedTuple

import typer

from collector.cli.check import site_or_refuse
from collector.cli.collect import stop_on_signals
from collector.cli.known import known, told_site_path
from collector.cli.messages import check_ways, messages_out, messages_path, try_way
from collector.cli.says import EXIT_FAILED, Refused, progress, say, say_error
from collector.clock import Clock, WallClock
from collector.deliver.clock import FollowingClock
from collector.deliver.desk import Desk
from collector.deliver.loop import Carrier, Loop
from collector.influx.carrier import influx_carrier
from collector.log import log_to_stderr
from collector.site import Site
from collector.store import StoreError
from collector.watchdog import Watchdog


class Place(NamedTuple):
    """What a carrier is made of: the site, where its file lies (None: nobody has said), data, clock, messages file."""

    site: Site
    site_path: Path | None
    data: Path
    clock: Clock
    messages: Path | None = None


#: Makes a carrier, or None where the site does not ask for it; Refused when what it needs is wrong.
Maker = Callable[[Place], AbstractContextManager[Carrier | None]]


def _to_influx(place: Place) -> AbstractContextManager[Carrier | None]:
    return influx_carrier(place.site, place.site_path, place.data, place.clock.now_ms)


def _to_people(place: Place) -> AbstractContextManager[Carrier | None]:
    path = messages_path(place.site, place.site_path, place.messages)
    return messages_out(place.site, path, place.data, place.clock)


#: What is carried outwards, by the name it has in the status document and the log.
MAKERS: Final[dict[str, Maker]] = {"messages": _to_people, "influx": _to_influx}


def deliver(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    messages: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The messages file; else the one that the site file names.")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Say whether the messages file is good, and end.")] = False,
    try_: Annotated[str, typer.Option("--try", metavar="WAY", help="Send one message marked TEST, and end.")] = "",
    once: Annotated[bool, typer.Option("--once", help="Carry what waits, then end.")] = False,
) -> None:
    """Carry what the collector stores outwards, beside it: messages, and readings into InfluxDB, as the site file asks.

    A process of its own, so that no gateway and no network ever holds up the rules. It may be stopped and started
    at any time. Example: sieveward deliver --data data
    """
    if check or try_:
        _prove(data, site_file, messages, try_)
        return
    log_to_stderr()
    with stop_on_signals() as stop, _desk(data) as (desk, clock), ExitStack() as open_carriers:
        place = _place(data, site_file, clock, messages)
        made = {name: open_carriers.enter_context(make(place)) for name, make in MAKERS.items()}
        carriers = {name: carrier for name, carrier in made.items() if carrier is not None}
        loop = Loop(carriers, desk.tell, alive=(watchdog := Watchdog()).beat)
        if once:
            _once(loop, stop)
            return
        say_error(f"delivering for '{place.site.facility.id}': {', '.join(carriers) or 'nothing is asked for'}")
        watchdog.ready()
        loop.run(stop)
        watchdog.stopping()


def _prove(data: Path, site_file: Path | None, messages: Path | None, way: str) -> None:
    """Check the messages file, or try one of its ways; with --site it needs no collector's data."""
    if site_file is not None:
        place = Place(site_or_refuse(site_file), site_file, data, WallClock(), messages)
    else:
        place = _place(data, None, WallClock(), messages)
    path = messages_path(place.site, place.site_path, messages)
    if way:
        try_way(path, place.site, way, place.clock.now_ms())
    else:
        check_ways(path, place.site)


def _once(loop: Loop, stop: threading.Event) -> None:
    with progress("left to carry") as shown:
        left = loop.once(stop, shown)
    if left:
        raise Refused("\n".join(f"{name}: {said}" for name, said in left.items()), EXIT_FAILED)
    say("stopped" if stop.is_set() else "nothing is left to carry")


@contextmanager
def _desk(data: Path) -> Iterator[tuple[Desk, FollowingClock]]:
    clock = FollowingClock()
    try:
        desk = Desk(data, clock)
    except StoreError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    try:
        yield desk, clock
    finally:
        desk.close()


def _place(data: Path, site_file: Path | None, clock: Clock, messages: Path | None) -> Place:
    with known(data, site_file) as now:
        return Place(now.site, site_file or told_site_path(data), data, clock, messages)
