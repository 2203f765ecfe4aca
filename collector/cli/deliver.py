"""`sieveward deliver`: what is stored, carried outwards beside the collector."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Annotated, Final, NamedTuple

import typer

from collector.cli.collect import stop_on_signals
from collector.cli.known import known, told_site_path
from collector.cli.says import EXIT_FAILED, Refused, progress, say, say_error
from collector.clock import Clock
from collector.deliver.clock import FollowingClock
from collector.deliver.desk import Desk
from collector.deliver.loop import Carrier, Loop
from collector.influx.carrier import influx_carrier
from collector.log import log_to_stderr
from collector.site import Site
from collector.store import StoreError


class Place(NamedTuple):
    """What a carrier is made of: the site, where its file lies (None: as the store holds it), data and clock."""

    site: Site
    site_path: Path | None
    data: Path
    clock: Clock


#: Makes a carrier, or None where the site does not ask for it; Refused when what it needs is wrong.
Maker = Callable[[Place], AbstractContextManager[Carrier | None]]


def _to_influx(place: Place) -> AbstractContextManager[Carrier | None]:
    path = place.site_path or told_site_path(place.data)
    return influx_carrier(place.site, path, place.data, place.clock.now_ms)


#: What is carried outwards, by the name it has in the status document and the log.
MAKERS: Final[dict[str, Maker]] = {"influx": _to_influx}


def deliver(
    data: Annotated[Path, typer.Option(metavar="DIR", help="The collector's data directory.")] = Path("data"),
    site_file: Annotated[
        Path | None, typer.Option("--site", metavar="SITE.toml", help="Else the site file the collector last read.")
    ] = None,
    once: Annotated[bool, typer.Option("--once", help="Carry what waits, then end.")] = False,
) -> None:
    """Carry what the collector stores outwards, beside it: what the site file asks for.

    A process of its own, so that no gateway and no network ever holds up the rules. It may be stopped and started
    at any time. Example: sieveward deliver --data data
    """
    log_to_stderr()
    with stop_on_signals() as stop, _desk(data) as (desk, clock), ExitStack() as open_carriers:
        place = _place(data, site_file, clock)
        made = {name: open_carriers.enter_context(make(place)) for name, make in MAKERS.items()}
        carriers = {name: carrier for name, carrier in made.items() if carrier is not None}
        loop = Loop(carriers, desk.tell)
        if once:
            _once(loop, stop)
            return
        say_error(f"delivering for '{place.site.facility.id}': {', '.join(carriers) or 'nothing is asked for'}")
        loop.run(stop)


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


def _place(data: Path, site_file: Path | None, clock: Clock) -> Place:
    with known(data, site_file) as now:
        return Place(now.site, site_file, data, clock)
