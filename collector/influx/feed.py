"""The carrier that copies the store to InfluxDB, piece by piece, in the process beside the collector.

Rules of this file: the store is the buffer. What the server has is marked; what is not marked is sent, however long
ago it was, and however often: each point overwrites itself. A line that the server never takes is looked for by
halves (or counted, where the server says that it has the others), dropped and written down. While the server is away
the same piece waits and nothing else is read.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, Final, Protocol

from collector import log
from collector.influx.lines import READING
from collector.influx.marks import Marks
from collector.influx.sender import Away, Refused, TooLarge
from collector.influx.streams import BATCH_LINES, Events, Late, Piece, Readings, Rollups, Stream, digits
from collector.reading import iso_utc
from collector.rules.entries import POINTS_DROPPED, JournalEntry
from collector.store import outward
from collector.store.history import open_reader
from collector.store.journal import JournalWriter

TURN_S: Final = 2.0  # of work in one turn
FIRST_PAUSE_S: Final = 1.0
LONGEST_PAUSE_S: Final = 300.0
#: Requests that looking for bad lines may take in one piece: enough for some ten bad lines among 5,000.
HALVINGS: Final = 200
#: Between two journal rows about dropped lines: a server that takes nothing must not fill the journal.
SAY_EVERY_S: Final = 3_600.0
DROPPED: Final = "dropped"
SAID: Final = "dropped-said"
SENT: Final = "sent"
GONE: Final = "gone"


class Sending(Protocol):
    """Has lines on the server, or says why not."""

    def send(self, lines: Sequence[str]) -> None: ...


class Feed:
    """Copies what `data_dir`'s store holds; `now_ms` is the facility's clock, for the journal."""

    def __init__(
        self, facility: str, data_dir: Path, sender: Sending, marks: Marks, *, now_ms: Callable[[], int],
        journal: JournalWriter | None = None, monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        self._facility, self._data_dir, self._sender, self._marks = facility, data_dir, sender, marks
        self._now_ms, self._monotonic_s = now_ms, monotonic_s
        self._journal = journal or JournalWriter(data_dir)
        self._streams: tuple[Stream, ...] = ()
        self._piece: Piece | None = None
        self._away: Away | None = None
        self._not_before_s = self._say_from_s = float("-inf")
        self._pause_s = FIRST_PAUSE_S
        self._last_bad = ("", "")
        self._state: dict[str, Any] = {"waiting": 0}

    def turn(self) -> None:
        """Send for a short while; Away while the server takes nothing, StoreError when the store cannot be read."""
        if self._away is not None and self._monotonic_s() < self._not_before_s:
            raise self._away
        # Opened for each turn: a store that is put back from a backup meanwhile is another file.
        with closing(open_reader(self._data_dir)) as conn:
            self._ready(conn)
            try:
                self._send(conn)
            except Away as away:
                self._wait(away)
                raise
            finally:
                self._note(conn)

    def state(self) -> dict[str, Any]:
        """waiting (minutes, hours and rows to copy), lines sent and dropped, readings gone before they were sent."""
        return self._state

    def _ready(self, conn: sqlite3.Connection) -> None:
        marks, heads = self._marks, outward.heads(conn)
        seen = marks.get(Events.HASH)
        if seen is not None and digits(outward.journal_hash(conn, marks[Events.KEY])) != seen:
            # Another store than the one that was copied (put back from a backup, say): no mark means anything for it.
            log.say("copy-anew", facility=self._facility)
            marks.forget()
            self._streams, self._piece = (), None
        if Late.KEY not in marks:
            marks.keep({Late.KEY: heads.late_seq})
        if not self._streams:
            name = self._facility
            self._streams = (Events(name), Late(name), Readings(name), Rollups(name, "rollup_1m"),
                             Rollups(name, "rollup_1h"))  # fmt: skip
        self._note_gone(conn, heads)

    def _send(self, conn: sqlite3.Connection) -> None:
        until_s = self._monotonic_s() + TURN_S
        self._say_dropped()
        while self._monotonic_s() < until_s and self._one_round(conn):
            pass

    def _one_round(self, conn: sqlite3.Connection) -> bool:
        """A piece of each stream; False when none had one."""
        if self._piece is not None:
            self._carry(self._piece)
        heads, found = outward.heads(conn), False
        for stream in self._streams:
            self._piece = stream.next(conn, self._marks, heads)
            if self._piece is not None:
                found = True
                self._carry(self._piece)
        return found

    def _carry(self, piece: Piece) -> None:
        halvings = [HALVINGS]
        dropped = sum(
            self._deliver(piece.lines[first : first + BATCH_LINES], halvings)
            for first in range(0, len(piece.lines), BATCH_LINES)
        )
        kept = dict(piece.marks)
        if READING in kept:  # a piece may be older than what retention has taken meanwhile
            kept[READING] = max(kept[READING], self._marks.get(READING, 0))
        counts = {SENT: self._marks.get(SENT, 0) + len(piece.lines) - dropped}
        if dropped:
            counts[DROPPED] = self._marks.get(DROPPED, 0) + dropped
        self._marks.keep({**kept, **counts})
        self._piece, self._away, self._pause_s = None, None, FIRST_PAUSE_S

    def _deliver(self, lines: Sequence[str], halvings: list[int]) -> int:
        """How many of the lines had to be dropped."""
        try:
            self._sender.send(lines)
            return 0
        except TooLarge as error:
            if len(lines) == 1:
                return self._drop(1, lines[0], str(error))
        except Refused as error:
            if error.dropped is not None:
                return self._drop(min(error.dropped, len(lines)), "", str(error))
            halvings[0] -= 1
            if len(lines) == 1 or halvings[0] <= 0:
                return self._drop(len(lines), lines[0], str(error))
        half = len(lines) // 2
        return self._deliver(lines[:half], halvings) + self._deliver(lines[half:], halvings)

    def _drop(self, lines: int, line: str, said: str) -> int:
        log.say("line-dropped", lines=lines, line=line[:200], said=said)
        self._last_bad = (line[:200], said)
        return lines

    def _say_dropped(self) -> None:
        dropped, said = self._marks.get(DROPPED, 0), self._marks.get(SAID, 0)
        if dropped <= said or self._monotonic_s() < self._say_from_s:
            return
        line, reason = self._last_bad
        self._write({"points": dropped - said, "line": line, "said": reason})
        self._marks.keep({SAID: dropped})
        self._say_from_s = self._monotonic_s() + SAY_EVERY_S

    def _note_gone(self, conn: sqlite3.Connection, heads: outward.Heads) -> None:
        """Readings that retention took before the server had them: their minutes are still sent."""
        at = self._marks.get(READING, 0)
        if not 0 < at < heads.raw_from_ms:
            return
        gone = outward.rolled_count(conn, at, heads.raw_from_ms)
        if gone:
            self._write({"points": gone, "line": f"{READING} from {iso_utc(at)} to {iso_utc(heads.raw_from_ms)}",
                         "said": "the store no longer holds them; their minutes are sent"})  # fmt: skip
        self._marks.keep({READING: heads.raw_from_ms, GONE: self._marks.get(GONE, 0) + gone})

    def _write(self, body: dict[str, Any]) -> None:
        self._journal.append([JournalEntry(at_ms=self._now_ms(), kind=POINTS_DROPPED, origin="deliver", body=body)])

    def _wait(self, away: Away) -> None:
        pause_s = self._pause_s if away.pause_s is None else away.pause_s
        self._away, self._not_before_s = away, self._monotonic_s() + pause_s
        self._pause_s = min(self._pause_s * 2, LONGEST_PAUSE_S)

    def _note(self, conn: sqlite3.Connection) -> None:
        heads = outward.heads(conn)
        self._state = {
            "waiting": sum(stream.waiting(conn, self._marks, heads) for stream in self._streams),
            "sent": self._marks.get(SENT, 0), "dropped": self._marks.get(DROPPED, 0),
            "gone": self._marks.get(GONE, 0), "up_to_ms": self._marks.get(READING, 0),
        }  # fmt: skip
