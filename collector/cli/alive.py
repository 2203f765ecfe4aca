"""`sieveward check`: is a site file good? With --live: is the alarm's way alive, to every ward and message?"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Final

import msgspec
import typer

from collector.alarmway import Asked, Outcome, try_way
from collector.alarmway.trail import ARRIVED, DEAD
from collector.cli.check import check_site, check_store
from collector.cli.doors import AccountOption, BrokerOption, door_or_refuse
from collector.cli.known import Known, known
from collector.cli.says import EXIT_FAILED, Refused, say, say_error, say_json
from collector.clock import ScaledClock
from collector.store import StoreError
from collector.store.history import status

_WORDS: Final = {ARRIVED: "arrived", DEAD: "DEAD", "not-set-up": "not set up"}


class LiveWish(msgspec.Struct, frozen=True, kw_only=True):
    """The options of `check --live`."""

    data: Path
    broker: str | None
    account: Path | None
    ward: str
    who: str
    wait_s: float
    dashboard: str
    as_json: bool


def check(
    site_file: Annotated[Path | None, typer.Argument(metavar="[SITE.toml]", help="The site file.")] = None,
    live: Annotated[bool, typer.Option("--live", help="Send a marked TEST through every path of an alarm.")] = False,
    store: Annotated[bool, typer.Option("--store", help="Read the whole store for damage.")] = False,
    data: Annotated[Path, typer.Option(metavar="DIR", help="With --live and --store: the data directory.")] = Path(
        "data"
    ),
    broker: BrokerOption = None,
    account: AccountOption = None,
    ward: Annotated[str, typer.Option(metavar="WARD", help="Only this ward, not all of them.")] = "",
    who: Annotated[str, typer.Option(metavar="NAME", help="Who asks for the test.")] = "",
    wait_s: Annotated[float, typer.Option("--wait", min=1, help="Seconds to wait for what has not arrived.")] = 90.0,
    dashboard: Annotated[str, typer.Option(metavar="URL", help="The dashboard to ask as well.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object for a program to read.")] = False,
) -> None:
    """Check a site file and say what is in it; with --live, try whether an alarm would arrive everywhere.

    The test is no alarm and says so wherever it is seen: TEST, for five minutes, beside whatever is real. Exit status 1
    when any way is dead. Example: sieveward check site.toml
    Example: sieveward check --store --data data
    Example: sieveward check --live --data data --account /etc/sieveward/keys/check.toml --who Amie
    """
    if live:
        wish = LiveWish(data=data, broker=broker, account=account, ward=ward, who=who, wait_s=wait_s,
                        dashboard=dashboard, as_json=as_json)  # fmt: skip
        check_live(wish, site_file)
    elif store:
        check_store(data, as_json=as_json)
    elif site_file is None:
        raise Refused("name a site file, say --live to try the alarm's way, or --store to look for damage")
    else:
        check_site(site_file, as_json=as_json)


def check_live(wish: LiveWish, site_file: Path | None) -> None:
    """Send the test, say what arrived; Refused with exit status 1 when any way is dead."""
    if wish.dashboard and not wish.dashboard.startswith(("http://", "https://")):
        raise Refused(f"'{wish.dashboard}' is no address of a dashboard; write it as http://127.0.0.1:8501")
    door = door_or_refuse(wish.broker, wish.account)
    with known(wish.data, site_file) as now:
        site, wards, clock = now.site, _wards(now, wish.ward), _clock(now)
    asked = Asked(data=wish.data, door=door, site=site, wards=wards, who=_who(wish.who), wait_s=wish.wait_s,
                  dashboard=wish.dashboard)  # fmt: skip
    shown: list[Outcome] = []
    if not wish.as_json:
        say_error(f"sending a TEST to {', '.join(wards)}; it stands for five minutes and is no alarm")
    try:
        found = try_way(asked, clock, lambda one: _show(one, shown, wish))
    except StoreError as error:
        raise Refused(str(error), EXIT_FAILED) from error
    _tell(found, shown, wish)


def _tell(found: list[Outcome], shown: list[Outcome], wish: LiveWish) -> None:
    dead = [one.way for one in found if one.state == DEAD]
    if wish.as_json:
        say_json({"alive": not dead, "ways": [msgspec.to_builtins(one) for one in found]})
    for one in found:
        _show(one, shown, wish)
    if dead:
        raise Refused(f"the alarm's way is NOT whole: dead is {', '.join(dead)}", EXIT_FAILED)
    if not wish.as_json:
        say("All that is set up arrived. Now look with your own eyes: each ward's screen shows TEST - NO ALARM, and "
            "those who were to get a message have it.")  # fmt: skip


def _show(one: Outcome, shown: list[Outcome], wish: LiveWish) -> None:
    if one in shown:
        return
    shown.append(one)
    if not wish.as_json:
        took = f" after {one.took_s:.2f} s" if one.took_s is not None else ""
        say(f"  {_WORDS[one.state]:<10}  {one.way}{took}{f': {one.said}' if one.said else ''}")


def _wards(now: Known, ward: str) -> tuple[str, ...]:
    places = [place.id for place in now.site.places()]
    if ward and ward not in places:
        raise Refused(f"there is no ward '{ward}'; there is {', '.join(places)}")
    return (ward,) if ward else tuple(places)


def _clock(now: Known) -> ScaledClock:
    """The facility's clock, as the collector keeps it."""
    kept = status(now.conn, "clock")
    if kept is None:
        raise Refused("no collector has run on this data directory yet: start it first", EXIT_FAILED)
    return ScaledClock(int(kept["wall_ms"]), int(kept["at_ms"]), float(kept["speed"]))


def _who(who: str) -> str:
    """Whose name stands beside TEST on every screen: asked for where nobody has said."""
    if not who and sys.stdin.isatty():
        say_error("Your name, for the journal and the screens:")
        who = sys.stdin.readline()
    if not (who := who.strip()):
        raise Refused("a test is asked for by somebody: say who with --who NAME")
    return who
