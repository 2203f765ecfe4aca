"""What a turn of `sieveward deliver` costs with 500 units, all of them failing, and twelve ways.

Nothing is sent: the services take everything at once. The quiet turn is the usual one: nothing new in the journal.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from collector.clock import ManualClock
from collector.messages.carrier import MessageCarrier
from collector.messages.ways import parse_ways
from collector.rules import entries
from collector.rules.catalogue import CATALOGUE
from collector.rules.entries import MESSAGE_SENT, JournalEntry
from collector.rules.limits import MINUTE
from collector.site import parse_site
from collector.store import open_store
from collector.store.history import journal_rows
from collector.store.journal import JournalWriter

UNITS, WARDS, TURNS = 500, 20, 200
OLD_ROWS = 100_000  # a few years' journal of a small hospital
NOW_MS = 1_790_078_400_000


class Takes:
    """A service that takes everything."""

    body_maxlen = 32_768

    def notify(self, *, body: str, title: str, body_format: str) -> object:
        """Taken."""
        return True


def site_text() -> str:
    """The site: units spread over wards."""
    wards = "".join(f'[[ward]]\nid = "w{n}"\n' for n in range(WARDS))
    units = "".join(f'[[unit]]\nid = "u{n}"\nward = "w{n % WARDS}"\n' for n in range(UNITS))
    return f'[facility]\nid = "sim-bench"\n{wards}{units}'


def ways_text() -> str:
    """Ten wards' phones, an engineer, on-call."""
    phones = "".join(f'[[way]]\nid = "p{n}"\nurl = "x"\nrole = "ward"\nwards = ["w{n}"]\n' for n in range(10))
    others = "".join(f'[[way]]\nid = "{role}"\nurl = "x"\nrole = "{role}"\n' for role in ("engineer", "on-call"))
    return phones + others


def entry(n: int) -> JournalEntry:
    """Unit n's output is very low."""
    known = CATALOGUE["purity-red"]
    body = {"event": "raised", "priority": "high", "audience": list(known.audience), "cause": "unknown",
            "action": known.action, "evidence": {}}  # fmt: skip
    return JournalEntry(at_ms=NOW_MS, kind=entries.CONDITION, unit=f"u{n}", ward=f"w{n % WARDS}",
                        condition="purity-red", body=body)  # fmt: skip


def timed_ms(carrier: MessageCarrier, turns: int) -> tuple[float, float]:
    """Mean and longest of so many turns."""
    took = []
    for _ in range(turns):
        start_s = time.perf_counter()
        carrier.turn()
        took.append(1000 * (time.perf_counter() - start_s))
    return sum(took) / len(took), max(took)


def main() -> None:
    """Measure and say."""
    with tempfile.TemporaryDirectory() as folder:
        data, site, clock = Path(folder), parse_site(site_text()), ManualClock(NOW_MS)
        ways = parse_ways(ways_text(), site)
        with open_store(data, site.facility.id, durable=False) as store:
            note = JournalEntry(at_ms=NOW_MS - 10**9, kind=entries.NOTE, unit="u1", body={"text": "x" * 80})
            with store.transaction():
                store.append_journal([note] * OLD_ROWS, NOW_MS)
                store.set_status("board", {"seq": OLD_ROWS})
            start_s = time.perf_counter()
            carrier = MessageCarrier(site, ways, {way.id: Takes() for way in ways.ways}, data, clock)
            say(f"start with {OLD_ROWS:,} journal rows: {time.perf_counter() - start_s:.2f} s")
            say("quiet turn: {:.2f} ms, longest {:.1f} ms".format(*timed_ms(carrier, TURNS)))
            JournalWriter(data).append([entry(n) for n in range(UNITS)])
            say("turns while 500 alarms are told: {:.1f} ms, longest {:.0f} ms".format(*timed_ms(carrier, 10)))
            clock.advance(30 * MINUTE)
            timed_ms(carrier, 20)
            say("turn with 500 alarms that stand: {:.1f} ms, longest {:.0f} ms".format(*timed_ms(carrier, TURNS)))
            rows = journal_rows(store.conn, kinds=(MESSAGE_SENT,), limit=100)
            told = {(row.body["way"], item["unit"]) for row in rows for item in row.body["alarms"]}
            say(f"{len(rows)} messages for {len(told)} (way, alarm) pairs")
            carrier.close()


def say(text: str) -> None:
    """A line of the result."""
    sys.stdout.write(text + "\n")


if __name__ == "__main__":
    main()
