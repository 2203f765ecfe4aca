"""The messages of `sieveward deliver`: its carrier, the proof of the messages file, and one message as a try."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from collector.cli.says import EXIT_FAILED, Refused, say, say_error
from collector.clock import Clock
from collector.messages.carrier import MessageCarrier, message_carrier
from collector.messages.gateway import Service, send, service_of, takes_line
from collector.messages.happenings import TEST, Happening
from collector.messages.plan import Letter
from collector.messages.ways import Way, Ways, WaysError, load_ways
from collector.messages.words import text_of
from collector.site import Site
from collector.store import StoreError

NO_FILE = 'no messages file: name one with --messages FILE, or in the site file: [messages] file = "messages.toml"'


def messages_path(site: Site, site_path: Path | None, named: Path | None) -> Path | None:
    """The messages file: as named at the command line, else as the site file says, beside it; None without one."""
    if named is not None or site.messages is None:
        return named
    return (site_path.parent if site_path else Path()) / site.messages.file


@contextmanager
def messages_out(site: Site, path: Path | None, data: Path, clock: Clock) -> Iterator[MessageCarrier | None]:
    """The carrier of messages, or None where no file asks for them; Refused when it is wrong."""
    if path is None:
        yield None
        return
    ways, services = ways_or_refuse(path, site)
    try:
        opened = message_carrier(site, ways, services, data, clock)
    except StoreError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    with opened as carrier:
        yield carrier


def ways_or_refuse(path: Path, site: Site) -> tuple[Ways, dict[str, Service]]:
    """The ways of a file and the service of each; Refused with every fault."""
    try:
        ways = load_ways(path, site)
    except WaysError as error:
        raise Refused(str(error)) from error
    services = {way.id: service for way in ways.ways if (service := service_of(way)) is not None}
    if wrong := [way.id for way in ways.ways if way.id not in services]:
        raise Refused("\n".join(f"{path}: [[way]] '{way}': its url is none that apprise knows, or lacks a part; see "
                                "the page of that service in apprise's documentation" for way in wrong))  # fmt: skip
    return ways, services


def check_ways(path: Path | None, site: Site) -> None:
    """Say what the messages file asks for, and what nobody would be told of."""
    if path is None:
        raise Refused(NO_FILE)
    ways, services = ways_or_refuse(path, site)
    say(f"{path} is good: {len(ways.ways)} ways")
    for way in ways.ways:
        say(f"  {_described(way, services, ways)}")
    for warning in warnings(ways, site):
        say_error(f"mind: {warning}")


def _described(way: Way, services: Mapping[str, Service], ways: Ways) -> str:
    form = "one SMS" if takes_line(way, services[way.id]) else "the whole message"
    quiet = f", medium and low not in {way.quiet_hours}" if way.quiet_hours else ""
    after = f", {way.after_min:g} min after the alarm" if way.after_min is not None else ""
    where = f"wards {', '.join(way.wards)}" if way.wards else "all wards"
    return f"{way.id}: {way.title} ({way.role}), {where}, {' and '.join(way.told)} priority{quiet}{after}; {form}"


def warnings(ways: Ways, site: Site) -> list[str]:
    """What the file leaves out that somebody may count on."""
    reach = [way for way in ways.ways if "high" in way.told and way.role != "planner"]
    unreached = [ward for ward in site.places() if not any(not way.wards or ward.id in way.wards for way in reach)]
    found = [f"nobody is told of high priority in {ward.title}" for ward in unreached]
    if not any(way.role in ("engineer", "on-call") for way in reach):
        found.append("nobody is told when the collector itself is gone; give a way the role engineer or on-call")
    return found


def try_way(path: Path | None, site: Site, name: str, now_ms: int) -> None:
    """Send one message marked TEST on a way, and say whether its gateway took it."""
    if path is None:
        raise Refused(NO_FILE)
    ways, services = ways_or_refuse(path, site)
    way = next((way for way in ways.ways if way.id == name), None)
    if way is None:
        raise Refused(f"no way '{name}' in {path}; there are {', '.join(way.id for way in ways.ways) or 'none'}")
    one = Happening(
        about="try", kind=TEST, condition=TEST, priority="low", audience=(), title="Test",
        action="This is a test of the way to you. Nothing is wrong.", since_ms=now_ms, heard_ms=now_ms,
    )  # fmt: skip
    text = text_of(Letter(way=way, happenings=(one,), attempt=1), site, {}, now_ms)
    if said := send(way, services[way.id], text):
        raise Refused(f"{way.id}: {said}", EXIT_FAILED)
    say(f"{way.id}: the gateway took it; whether it arrived only {way.title} can say")
    say(f"  {text.line}")
