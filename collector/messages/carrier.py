"""The carrier of messages: reads what the journal says, sends what is due, writes down what came of it.

Rules of this file: a turn never waits for a gateway. What came of an attempt is in the journal before its way is free
again. The alarms are taken as the store holds them and followed from there; what was told is in the journal alone.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from collector import backup_watch, log
from collector.backup.card import Card
from collector.backup_watch import BackupWatch
from collector.clock import Clock
from collector.messages.gateway import Attempt, Post, Service
from collector.messages.happenings import Happening, Lost, happenings, what_is_lost
from collector.messages.ladder import Ladder
from collector.messages.ledger import KINDS, Ledger
from collector.messages.plan import Letter, ends, plan
from collector.messages.ways import Way, Ways
from collector.messages.words import Text, text_of
from collector.rules import entries
from collector.rules.alarms import AlarmBoard
from collector.rules.entries import JournalEntry, JournalRow
from collector.site import Site, SiteError, parse_site
from collector.store.connect import snapshot
from collector.store.history import alarm_rows, journal_after, journal_rows, open_reader, status
from collector.store.journal import JournalWriter
from collector.tongue import speaking

ORIGIN: Final = "deliver"
_ALL: Final = 2**31
_KEPT: Final = 5_000  # entries of the ledger before what is over is dropped


class MessageCarrier:
    """Carries one facility's messages; `services` by way's id."""

    def __init__(
        self, site: Site, ways: Ways, services: Mapping[str, Service], data: Path, clock: Clock, *,
        post: Post | None = None, wall_s: Callable[[], float] = time.time,
    ) -> None:  # fmt: skip
        self._site, self._ways, self._clock, self._wall_s = site, ways, clock, wall_s
        self._conn = open_reader(data)
        self._writer = JournalWriter(data)
        self._post = post or Post(dict(services))
        self._site_seq = 0  # up to which row the site file's changes are known
        self._load()
        self._state = self._made_state(0)

    def _load(self) -> None:
        self._ladder = Ladder(self._site, self._ways)
        unused = {unit.id for unit in self._site.units if unit.in_service is False}
        with snapshot(self._conn):
            self._seq = int((status(self._conn, "board") or {}).get("seq", 0))
            removed = (status(self._conn, "out_of_service") or {}).get("units", ())
            self._board = AlarmBoard(alarm_rows(self._conn), unused | set(removed))
            kinds = (*KINDS, entries.COLLECTOR_START, entries.COLLECTOR_STOP)
            rows = journal_rows(self._conn, kinds=kinds, limit=_ALL)
        self._ledger, self._stopped = Ledger(), False
        for row in sorted((row for row in rows if row.seq <= self._seq), key=lambda row: row.seq):
            self._fold(row)

    def _fold(self, row: JournalRow) -> None:
        self._ledger.fold(row)
        if row.kind in (entries.COLLECTOR_START, entries.COLLECTOR_STOP):
            self._stopped = row.kind == entries.COLLECTOR_STOP

    # -- a turn ----------------------------------------------------------------------------------------------------

    def turn(self) -> None:
        """Write down what came of attempts, follow the journal, send what is due."""
        for attempt, said in self._post.answered():
            self._write(attempt, said)
            self._post.done(attempt)
        while rows := journal_after(self._conn, self._seq):
            for row in rows:
                self._board.fold(row)
                self._fold(row)
            self._seq = rows[-1].seq
            if any(row.kind == entries.SITE_CHANGED and row.seq > self._site_seq for row in rows):
                self._site_seq = self._seq
                self._follow_site()
        self._send()

    def _follow_site(self) -> None:
        """Units stand elsewhere now, and took their alarms along: go on as after a restart."""
        with suppress(SiteError):
            self._site = parse_site(str((status(self._conn, "site") or {}).get("text", "")))
        self._load()

    def _send(self) -> None:
        with speaking(self._site.facility.language):
            self._send_told()

    def _send_told(self) -> None:
        now_ms = self._clock.now_ms()
        found = happenings(self._board, self._ledger.tests.values(), self._lost(now_ms), now_ms)
        if len(self._ledger.sent) + len(self._ledger.tries) > _KEPT:
            self._ledger.forget({one.about for one in found})
        letters = plan(self._ladder, found, self._ledger, now_ms, self._post.busy())
        for letter in letters:
            self._post.start(letter, text_of(letter, self._site, self._cards(letter, now_ms), now_ms))
        failing = any(past.failures for past in self._ledger.ways.values())
        due = plan(self._ladder, found, self._ledger, now_ms, hasty=True) if failing else letters
        self._state = self._made_state(len(due))

    def _lost(self, now_ms: int) -> Lost | None:
        wall_ms = int(self._wall_s() * 1000)
        return what_is_lost(status(self._conn, "collector"), self._stopped, wall_ms, now_ms, self._clock.speed)

    def _cards(self, letter: Letter, now_ms: int) -> dict[tuple[str, str, str], Card]:
        ward = letter.happenings[0].ward
        watch = BackupWatch(self._site, status(self._conn, backup_watch.DOCUMENT)) if ward else None
        return watch.cards(ward, self._board, now_ms) if watch else {}

    def _write(self, attempt: Attempt, said: str) -> None:
        entry = entry_of(attempt.letter, attempt.text, said, self._clock.now_ms())
        self._writer.append([entry])
        log.say("message", kind=entry.kind, way=attempt.letter.way.id, said=said or attempt.text.line)

    # -- how it stands ---------------------------------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """As of the last turn: `waiting`, letters due (some after a failure) or under way; `ways`, how each stands."""
        return self._state

    def _made_state(self, due: int) -> dict[str, Any]:
        busy = self._post.busy()
        return {"waiting": max(due, self._post.waiting),
                "ways": {way.id: self._way_state(way, way.id in busy) for way in self._ladder.ways}}  # fmt: skip

    def _way_state(self, way: Way, busy: bool) -> dict[str, Any]:
        past = self._ledger.ways.get(way.id)
        return {"person": way.title, "role": way.role, "wards": list(way.wards), "busy": busy,
                "sent_ms": past.sent_ms[-1] if past and past.sent_ms else None,
                "failures": past.failures if past else 0, "said": past.said if past else ""}  # fmt: skip

    def close(self) -> None:
        """Close the store."""
        self._conn.close()


def entry_of(letter: Letter, text: Text, said: str, now_ms: int) -> JournalEntry:
    """The row of an attempt: `said` is "" when the gateway took it."""
    first, way = letter.happenings[0], letter.way
    body: dict[str, Any] = {
        "way": way.id, "person": way.title, "role": way.role, "attempt": letter.attempt, "step": letter.step,
        "say": text.line, "alarms": [_named(one) for one in letter.happenings],
    }  # fmt: skip
    if said:
        body |= {"said": said, "last": letter.attempt >= ends(first)}
    return JournalEntry(
        at_ms=now_ms, kind=entries.MESSAGE_FAILED if said else entries.MESSAGE_SENT, unit=first.unit, ward=first.ward,
        condition=first.condition, origin=ORIGIN, body=body,
    )  # fmt: skip


def _named(one: Happening) -> dict[str, str]:
    return {"about": one.about, "unit": one.unit, "ward": one.ward, "condition": one.condition,
            "priority": one.priority}  # fmt: skip


@contextmanager
def message_carrier(
    site: Site, ways: Ways, services: Mapping[str, Service], data: Path, clock: Clock
) -> Iterator[MessageCarrier]:
    """A carrier that closes what it opened."""
    carrier = MessageCarrier(site, ways, services, data, clock)
    try:
        yield carrier
    finally:
        carrier.close()
