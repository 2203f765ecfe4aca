"""`collect` as a child process of a test: SITE HOST:PORT DATA CLOCK."""

import sys
from pathlib import Path

from collector.cli.collect import collect

site, broker, data, clock = sys.argv[1:5]
collect(Path(site), broker, None, Path(data), clock)
