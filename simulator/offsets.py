"""Lengths of time and places in a story as people write them: `2h10m`, `90s`, `-3d`, or minutes as a number."""

from __future__ import annotations

import re
from typing import Final

_UNITS_MS: Final = {"d": 86_400_000, "h": 3_600_000, "m": 60_000, "s": 1000}
_PART = re.compile(r"(\d+(?:\.\d+)?)([dhms])")
_WHOLE = re.compile(r"([+-]?)((?:\d+(?:\.\d+)?[dhms])+)")


def offset_ms(value: object) -> int:
    """Read an offset as ms; ValueError says how to write one."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return round(value * 60_000)
    match = _WHOLE.fullmatch(value.replace(" ", "")) if isinstance(value, str) else None
    if match is None:
        raise ValueError("not a time; write it like '2h10m', '90s' or '-3d', or as a number of minutes")
    total = sum(float(number) * _UNITS_MS[unit] for number, unit in _PART.findall(match[2]))
    return round(-total if match[1] == "-" else total)
