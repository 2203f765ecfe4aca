"""Sends one marked test and follows it: journal, wards' signals, the screens' data, messages, the dashboard itself."""

from __future__ import annotations

import sqlite3
import ssl
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Collection
from contextlib import closing, nullcontext
from pathlib import Path
from typing import Any, Final

import msgspec

from collector.alarmway.ear import Ear
from collector.alarmway.trail import (
    ARRIVED,
    DASHBOARD,
    DEAD,
    JOURNAL,
    MESSAGES,
    NOT_SET_UP,
    SCREENS,
    SIGNALS,
    Outcome,
    Trail,
    ward_way,
)
from collector.clock import Clock
from collector.door import Door
from collector.notify.waytest import DOCUMENT, RESULT_DOCUMENT, SAY
from collector.rules import entries
from collector.rules.entries import JournalEntry, JournalRow
from collector.site import Site
from collector.store import JournalWriter, StoreError, open_reader
from collector.store.connect import connect_writer, immediate, store_path
from collector.store.history import journal_after, status
from collector.store.journal import append
from collector.store.present import set_status
from collector.topics import signal_topic

STANDS_MS: Final = 5 * 60_000  # of wall time: as long as somebody needs to walk through the wards
COLLECTOR_S: Final = 15.0  # its status is written every second
DELIVER_S: Final = 30.0  # its status is written every five
ORIGIN: Final = "check"
TURN_S: Final = 0.1


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """A test that was asked for: of which store and broker, for which wards, by whom, and how long to wait."""

    data: Path
    door: Door | None  # None: whoever asks has no way to the broker, and the signals are not followed
    site: Site
    wards: tuple[str, ...]
    who: str
    wait_s: float = 90.0
    dashboard: str = ""


def try_way(
    asked: Asked,
    clock: Clock,
    shown: Callable[[Outcome], None] = lambda one: None,
    write: Callable[[JournalEntry], JournalRow] | None = None,
) -> list[Outcome]:
    """Send the test and tell of each way what came, as it comes; StoreError when the store cannot even be read.

    `write` puts the test into the journal; what it raises is passed on, except StoreError, which is an outcome.
    """
    with closing(open_reader(asked.data)) as conn:
        with _ear(asked) as ear:
            start_s = time.monotonic()
            try:
                row = (write or _writer(asked))(_entry(asked, clock))
            except StoreError as error:
                return [Outcome(way=JOURNAL, state=DEAD, said=str(error))]
            ways = _message_ways(conn, asked.wards)
            trail = Trail(asked.site, row.seq, asked.wards if asked.door else (), ways or ())
            trail.found.append(_took(JOURNAL, start_s, f"row {row.seq}"))
            _follow(asked, conn, ear, trail, row.seq, start_s, shown)
            trail.close(_reasons(asked, conn, ear), asked.wait_s)
        if asked.door is None:
            trail.found.append(
                Outcome(way=SIGNALS, state=NOT_SET_UP, said="no account at the broker to hear them with")
            )
        if not ways:
            trail.found.append(_no_messages(conn, ways))
        trail.found.append(_dashboard(asked))
    _write_result(asked, clock, row.seq, trail.found)
    return trail.found


def _ear(asked: Asked) -> Ear | nullcontext[None]:
    """What hears the wards' signals, where there is a way to the broker."""
    topics = [signal_topic(asked.site.facility.id, ward) for ward in asked.wards]
    return nullcontext() if asked.door is None else Ear(asked.door, topics)


def _writer(asked: Asked) -> Callable[[JournalEntry], JournalRow]:
    return lambda entry: JournalWriter(asked.data).append([entry])[0]


def _entry(asked: Asked, clock: Clock) -> JournalEntry:
    now_ms = clock.now_ms()
    body = {"wards": list(asked.wards), "until_ms": now_ms + int(STANDS_MS * clock.speed), "say": SAY}
    return JournalEntry(at_ms=now_ms, kind=entries.TEST_ALARM, who=asked.who, origin=ORIGIN, body=body)


def _took(way: str, start_s: float, said: str = "") -> Outcome:
    return Outcome(way=way, state=ARRIVED, took_s=round(time.monotonic() - start_s, 2), said=said)


def _follow(
    asked: Asked, conn: sqlite3.Connection, ear: Ear | None, trail: Trail, seq: int, start_s: float,
    shown: Callable[[Outcome], None],
) -> None:  # fmt: skip
    told = 0
    while True:
        for topic, payload in ear.take(TURN_S) if ear else _pause():
            trail.hear(topic, payload, time.monotonic() - start_s)
        trail.see(status(conn, DOCUMENT), time.monotonic() - start_s)
        while rows := journal_after(conn, seq):
            for row in rows:
                trail.read(row, time.monotonic() - start_s)
            seq = rows[-1].seq
        for outcome in trail.found[told:]:
            shown(outcome)
        told = len(trail.found)
        if not trail.open or time.monotonic() - start_s > asked.wait_s:
            return


def _pause() -> list[tuple[str, bytes]]:
    """Nothing can be heard: only the time of a turn passes."""
    time.sleep(TURN_S)
    return []


def _message_ways(conn: sqlite3.Connection, wards: Collection[str]) -> list[str] | None:
    """The ways that messages of these wards go, as the process that delivers says; None when it says nothing."""
    carriers = (status(conn, "deliver") or {}).get("carriers", {})
    if MESSAGES not in carriers:
        return None
    ways = carriers[MESSAGES].get("ways", {}).items()
    return [way for way, body in ways if not body.get("wards") or set(body["wards"]) & set(wards)]


def _no_messages(conn: sqlite3.Connection, ways: list[str] | None) -> Outcome:
    document = status(conn, "deliver")
    if document is None:
        return Outcome(way=MESSAGES, state=NOT_SET_UP, said="`sieveward deliver` has never run here")
    said = "the messages file names no way" if ways == [] else "the site file names no messages file"
    return Outcome(way=MESSAGES, state=NOT_SET_UP, said=said)


def _reasons(asked: Asked, conn: sqlite3.Connection, ear: Ear | None) -> dict[str, str]:
    """What explains a way on which nothing came."""
    found = {}
    collector = _collector_fault(status(conn, "collector"))
    if collector:
        found = {SCREENS: collector} | {ward_way(ward): collector for ward in asked.wards}
    elif ear is not None and ear.said:
        found = {ward_way(ward): ear.said for ward in asked.wards}
    wall_ms = (status(conn, "deliver") or {}).get("wall_ms")
    if isinstance(wall_ms, int) and time.time() - wall_ms / 1000 > DELIVER_S:
        ways = _message_ways(conn, asked.wards) or []
        found |= {f"message by {way}": "`sieveward deliver` does not run" for way in ways}
    return found


def _collector_fault(document: dict[str, Any] | None) -> str:
    wall_ms = (document or {}).get("wall_ms")
    if document is None or not isinstance(wall_ms, int):
        return "the collector has never run here"
    if (age_s := time.time() - wall_ms / 1000) > COLLECTOR_S:
        return f"the collector was last heard {age_s:.0f} s ago: is it running?"
    if document.get("broker_state") != "connected":
        return f"the collector has no broker: {document.get('broker_said', '')}"
    return ""


def _dashboard(asked: Asked) -> Outcome:
    """Whether the dashboard's own server answers; that its screens show the test is for eyes to see."""
    if not asked.dashboard:
        return Outcome(way=DASHBOARD, state=NOT_SET_UP, said="name its address with --dashboard to have it asked")
    start_s = time.monotonic()
    url = asked.dashboard.rstrip("/") + "/_stcore/health"
    authority = asked.door.ca if asked.door else None
    context = ssl.create_default_context(cafile=authority) if url.startswith("https:") else None
    try:
        with urllib.request.urlopen(url, timeout=10, context=context) as answer:  # noqa: S310 - checked by the command
            said = answer.read(100).decode(errors="replace").strip()
    except (OSError, ValueError, urllib.error.URLError) as error:
        return Outcome(way=DASHBOARD, state=DEAD, said=f"{asked.dashboard}: {error}")
    if said != "ok":
        return Outcome(way=DASHBOARD, state=DEAD, said=f"{asked.dashboard} answers '{said}'")
    return _took(DASHBOARD, start_s, f"{asked.dashboard} answers")


def _write_result(asked: Asked, clock: Clock, seq: int, found: list[Outcome]) -> None:
    body = {"test": seq, "arrived": [one.way for one in found if one.state == ARRIVED],
            "dead": {one.way: one.said for one in found if one.state == DEAD}}  # fmt: skip
    entry = JournalEntry(at_ms=clock.now_ms(), kind=entries.TEST_RESULT, who=asked.who, origin=ORIGIN, body=body)
    wall_ms, path = time.time_ns() // 1_000_000, store_path(asked.data)
    with closing(connect_writer(path, create=False)) as conn, immediate(conn, path):
        append(conn, [entry], wall_ms)
        set_status(conn, RESULT_DOCUMENT, {**body, "who": asked.who, "wall_ms": wall_ms})
