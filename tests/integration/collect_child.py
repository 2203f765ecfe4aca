"""`collect` as a child process of a test: SITE HOST:PORT DATA CLOCK [JUDGED]; see judged.py for the last."""

import sys
from pathlib import Path

from collector.cli.collect import collect
from tests.integration.judged import write_down

site, broker, data, clock = sys.argv[1:5]
if len(sys.argv) > 5:
    write_down(Path(sys.argv[5]))
collect(Path(site), broker, None, Path(data), clock=clock)
