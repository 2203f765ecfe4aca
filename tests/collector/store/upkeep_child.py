"""A process of its own that does upkeep in small slices and says each: upkeep_child.py DATA_DIR UNTIL_MS."""

import sys
from pathlib import Path

from collector.store import open_store, packing, rollups

packing.SLICE_ROWS = 60  # type: ignore[misc]
rollups.SLICE_ROWS = 100  # type: ignore[misc]
until_ms = int(sys.argv[2])
with open_store(Path(sys.argv[1]), "sim-test", durable=False) as store:
    for work in (store.roll_up, store.pack):
        more = True
        while more:
            more = work(until_ms)
            sys.stdout.write("slice\n")
            sys.stdout.flush()
sys.stdout.write("done\n")
sys.stdout.flush()
