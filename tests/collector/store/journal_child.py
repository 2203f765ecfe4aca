"""A process of its own that adds to the journal, as the dashboard does: journal_child.py DATA_DIR ROWS."""

import sys
from pathlib import Path

from collector.rules.entries import ACKNOWLEDGE, JournalEntry
from collector.store import JournalWriter

writer = JournalWriter(Path(sys.argv[1]), busy_ms=30_000)
for place in range(int(sys.argv[2])):
    writer.append([JournalEntry(at_ms=place, kind=ACKNOWLEDGE, who="N", role="ward", origin="child")])
    if place == 0:
        sys.stdout.write("under way\n")
        sys.stdout.flush()
