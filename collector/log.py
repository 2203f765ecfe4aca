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


def log_to_stderr() -> None:
    """Send lines of INFO and up to stderr, with UTC times."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(asctime)s.%(msecs)03dZ %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%S"))
    logging.Formatter.converter = time.gmtime
    _logger.addHandler(handler)
    _logger.setLevel(logging.INFO)
