"""`python -m collector.cli` is `sieveward`."""

from collector.cli.main import main

main()
