"""The command `sieveward`: the one place where real objects are put together."""

from collector.cli.main import main

__all__ = ["main"]
