"""People at a dashboard, as a child process of a test: DATA NAME. Each row is written as the dashboard writes it.

One line to stdout for each row, after it is written: what stands there has been promised to somebody.
"""

import sys
import threading
import time
from pathlib import Path

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.store import JournalWriter, StoreError, history, open_reader

PAUSE_S = 0.05


def main(data: Path, name: str) -> None:
    """Acknowledge what nobody has acknowledged, else make a note; until killed."""
    pause, n = threading.Event(), 0
    while True:
        n += 1
        try:
            (row,) = JournalWriter(data).append([_next(data, name, n)])
        except StoreError as error:
            sys.stderr.write(f"refused: {error}\n")
        else:
            sys.stdout.write(f"{row.seq} {row.body['mark']}\n")
            sys.stdout.flush()
        pause.wait(PAUSE_S)


def _next(data: Path, name: str, n: int) -> JournalEntry:
    conn = open_reader(data)
    try:
        unheard = [alarm for alarm in history.alarm_rows(conn) if alarm.active and alarm.speaks]
    finally:
        conn.close()
    now_ms, mark = time.time_ns() // 1_000_000, {"mark": f"{name}-{n}"}
    if unheard:
        alarm = unheard[n % len(unheard)]
        return JournalEntry(
            at_ms=now_ms, kind=entries.ACKNOWLEDGE, unit=alarm.unit, ward=alarm.ward, condition=alarm.condition,
            who=name, role="ward", origin="dashboard", body={**mark, "event_seq": alarm.event_seq},
        )  # fmt: skip
    return JournalEntry(at_ms=now_ms, kind=entries.NOTE, who=name, role="ward", origin="dashboard", body=mark)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
