"""`sieveward demo`: a night in an invented hospital, with every real part running on this machine."""

from __future__ import annotations

import threading
import time
import urllib.request
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Final

import typer

from collector.broker import BrokerError, free_port, start_nats
from collector.cli.children import Children
from collector.cli.collect import stop_on_signals
from collector.cli.says import EXIT_FAILED, Refused, progress, say, say_error
from collector.cli.simulate import make_fleet
from collector.past import take_in
from collector.reading import iso_utc
from collector.store import JournalWriter, StoreError, open_store
from collector.store.history import open_reader, status
from dashboard import launch
from simulator import HOSPITAL, telling
from simulator.history import backfill
from simulator.service_past import service_past

PAST_DAYS: Final = 3.0
SEED: Final = 1
LEAD_MS: Final = 5_000  # of wall time, for collector and simulator to start
START_S: Final = 60.0
POLL_S: Final = 0.2


def demo(
    speed: Annotated[float, typer.Option(min=1, max=600, help="How many times faster than real time.")] = 60.0,
    minutes: Annotated[float | None, typer.Option(min=0.1, help="End by itself after so many wall minutes.")] = None,
    port: Annotated[int, typer.Option(help="Where the dashboard listens; 0: any free port.")] = 8501,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the dashboard in a browser.")] = True,
    data: Annotated[Path, typer.Option(metavar="DIR", help="Where everything is kept.")] = Path("demo-data"),
    scenario: Annotated[str, typer.Option(help="What happens: a scenario's name or file.")] = "night",
) -> None:
    """Play a night in an invented hospital: broker, simulated units, collector and dashboard on this machine.

    Ctrl-C ends all of it; the next start goes on with the same data. Example: sieveward demo --speed 120 --minutes 3
    """
    with stop_on_signals() as stop:
        try:
            with start_nats(data / "broker") as broker, Children(data / "logs") as children:
                address = f"{broker.host}:{broker.port}"
                _start(children, data, address, speed, scenario)
                url = _start_dashboard(children, data, port or free_port(), stop)
                _tell(url, speed, data, browser)
                _watch(children, stop, minutes)
        except BrokerError as error:
            raise Refused(str(error), EXIT_FAILED) from error
    say_error("ended; the data stay in " + str(data))


def _start(children: Children, data: Path, broker: str, speed: float, scenario: str) -> None:
    last_ms = _last_ms(data)
    wall_ms = time.time_ns() // 1_000_000
    story_ms = max(wall_ms, last_ms + 60_000)
    past_days = 0.0 if last_ms else PAST_DAYS
    if past_days:
        _give_a_past(data, scenario, story_ms, past_days)
    _tell_story(data, scenario, story_ms)
    # The clock starts when everything is up: a story told to nobody would begin with a silence.
    times = f"{time.time_ns() // 1_000_000 + LEAD_MS},{story_ms},{speed}"
    children.start_command("collector", "collect", "--site", str(HOSPITAL), "--broker", broker,
                           "--data", str(data), "--clock", times)  # fmt: skip
    children.start_command("simulator", "simulate", "--scenario", scenario, "--broker", broker, "--seed", str(SEED),
                           "--clock", times, "--from", iso_utc(story_ms), "--past-days", str(past_days))  # fmt: skip
    _wait(children, threading.Event(), "collector", lambda: _subscribed(data, wall_ms))


def _give_a_past(data: Path, scenario: str, story_ms: int, past_days: float) -> None:
    """The days before the story, by the same rules, so that the charts have something to show.

    What people wrote down before comes first: the rules and the alarms fold it like any journal.
    """
    fleet = make_fleet(HOSPITAL, scenario, SEED, story_ms, past_days)
    with open_store(data, fleet.facility) as store, progress("the days before") as shown:
        JournalWriter(data).append(service_past(fleet.site, story_ms, SEED, fleet.start_ms))
        take_in(fleet.site, store, backfill(fleet, fleet.start_ms, story_ms), time.time_ns() // 1_000_000, shown)


def _tell_story(data: Path, scenario: str, story_ms: int) -> None:
    """Leave the story with the store, for the page that tells it."""
    fleet = make_fleet(HOSPITAL, scenario, SEED, story_ms)
    with open_store(data, fleet.facility) as store, store.transaction():
        store.set_status(telling.DOCUMENT, telling.told(fleet.scenario, fleet.site, story_ms))


def _last_ms(data: Path) -> int:
    """Where an earlier demo's clock stopped, or 0: simulated time runs ahead of the wall and must not go back."""
    try:
        conn = open_reader(data)
    except StoreError:
        return 0
    try:
        return int((status(conn, "collector") or {}).get("at_ms", 0))
    finally:
        conn.close()


def _subscribed(data: Path, since_wall_ms: int) -> bool:
    try:
        conn = open_reader(data)
    except StoreError:
        return False
    try:
        now = status(conn, "collector") or {}
        return bool(now.get("wall_ms", 0) >= since_wall_ms and now.get("broker_state") == "connected")
    finally:
        conn.close()


def _start_dashboard(children: Children, data: Path, port: int, stop: threading.Event) -> str:
    argv, env = launch.command(data, port)
    children.start("dashboard", argv, env)
    url = f"http://127.0.0.1:{port}/"
    _wait(children, stop, "dashboard", lambda: _answers(url + "_stcore/health"))
    return url


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=1) as answer:  # noqa: S310 - our own server on loopback
            return bool(answer.status == 200)
    except OSError:
        return False


def _wait(children: Children, stop: threading.Event, name: str, ready: Callable[[], bool]) -> None:
    until_s = time.monotonic() + START_S
    while not ready():
        _refuse_if_ended(children)
        if stop.wait(POLL_S):
            return
        if time.monotonic() > until_s:
            raise Refused(f"the {name} did not get ready within {START_S:.0f} s; its log:\n{children.last_words(name)}",
                          EXIT_FAILED)  # fmt: skip


def _refuse_if_ended(children: Children) -> None:
    if (name := children.ended()) is not None:
        said = children.last_words(name)
        raise Refused(f"the {name} ended by itself; the end of {children.log_of(name)}:\n{said}", EXIT_FAILED)


def _tell(url: str, speed: float, data: Path, browser: bool) -> None:
    say(f"dashboard: {url}")
    say_error(f"SIMULATED DATA of an invented hospital; its clock runs {speed:g} times as fast as this machine's.")
    say_error(f"Everything is kept in {data}. Ctrl-C ends it.")
    if browser:
        webbrowser.open(url)


def _watch(children: Children, stop: threading.Event, minutes: float | None) -> None:
    until_s = time.monotonic() + minutes * 60 if minutes else float("inf")
    while not stop.wait(POLL_S) and time.monotonic() < until_s:
        _refuse_if_ended(children)
