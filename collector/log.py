"""Log lines: a fixed event name and fields, so that they can be searched and tested. DEVELOPERS.md lists the names."""

from __future__ import annotations

import logging
import sys
import time

import msgspec

_logger = logging.getLogger("sieveward")


def say(name: str, *, level: int = logging.INFO, **fields: object) -> None:
    """Write one line: the event's name, then its fields as key=value."""
    if _logger.isEnabledFor(level):
        parts = [name, *(f"{field}={_shown(value)}" for field, value in fields.items())]
        _logger.log(level, " ".join(parts))


def _shown(value: object) -> str:
    text = value if isinstance(value, str) else msgspec.json.encode(value).decode()
    return msgspec.json.encode(text).decode() if " " in text or not text else text


def log_to_stderr(*, threads: bool = False) -> None:
    """Send lines of INFO and up to stderr, with UTC times; with `threads` each says which thread's it is."""
    handler = logging.StreamHandler(sys.stderr)
    whose = " [%(threadName)s]" if threads else ""
    shape = f"%(asctime)s.%(msecs)03dZ %(levelname)s{whose} %(message)s"
    handler.setFormatter(logging.Formatter(shape, "%Y-%m-%dT%H:%M:%S"))
    logging.Formatter.converter = time.gmtime
    _logger.addHandler(handler)
    _logger.setLevel(logging.INFO)
