"""Which of a reading's fields a value of an unknown device may be, by its name and by what it says. Guesses only."""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import datetime
from statistics import median
from typing import Final, NamedTuple

from collector.reading import LAMPS


class Value(NamedTuple):
    """A value on the lines: how a profile says where it is, what the line calls it ("" for nothing), and its texts."""

    source: str
    name: str
    texts: tuple[str, ...]


class Guess(NamedTuple):
    """A field, its further keys as lines of TOML, and a remark behind `from`."""

    field: str
    keys: tuple[str, ...] = ()
    note: str = ""


#: Words in names, and the field they stand for; the first that fits.
_WORDS: Final = (
    (r"o2|oxy|purity|fio2|conc", "purity_pct"), (r"flow|lpm|l_?min|flw", "flow_lpm"),
    (r"power|watt|pwr|^w$", "power_w"), (r"temp|^t$|deg", "temp_c"), (r"volt|mains|supply|^v$|^u$", "volts"),
    (r"press|kpa|psi|bar|^p$", "pressure_kpa"), (r"hour|hrs|runtime|meter|^h$", "hours_h"), (r"lamp|led", "lamp"),
    (r"time|date|stamp|^ts$", "time"), (r"unit|device|^id$|serial|addr|^sn$", "unit"),
)  # fmt: skip
#: A field -> (up to which value, the unit that is likely); the last holds for all beyond.
_UNITS: Final[dict[str, tuple[tuple[float, str], ...]]] = {
    "purity_pct": ((1.05, "ratio"), (110, "%"), (1e9, "ppm")),
    "flow_lpm": ((0.01, "m3/s"), (60, "L/min"), (1e9, "mL/min")),
    "power_w": ((2, "kW"), (1e9, "W")),
    "temp_c": ((150, "degC"), (1e9, "K")),
    "volts": ((500, "V"), (1e9, "mV")),
    "pressure_kpa": ((2, "bar"), (25, "psi"), (1000, "kPa"), (1e9, "Pa")),
    "hours_h": ((1e9, "h"),),
}
_NUMBER: Final = re.compile(r"[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?", re.ASCII)
_UNSURE: Final = "  # a guess"


def guess_field(value: Value, taken: Collection[str]) -> Guess | None:
    """The field that a value may be, or None; a field that is taken is not given twice."""
    numbers = [float(text.replace(",", ".")) for text in value.texts if _NUMBER.fullmatch(text)]
    field = _by_name(value.name) or _by_values(value, numbers)
    if field is None or field in taken:
        return None
    if field == "time":
        return _time(value, numbers)
    if field in ("unit", "lamp"):
        known = field == "unit" or all(text.lower() in LAMPS for text in value.texts)
        return Guess(field, note=_UNSURE) if known else None
    if not numbers:
        return None
    unit = next(unit for most, unit in _UNITS[field] if median(numbers) <= most or most == 1e9)
    missing = sorted({text for text in value.texts if not re.search(r"\d", text)} | {""})
    marks = (f"missing = [{', '.join(_text(mark) for mark in missing)}]",) if missing != [""] else ()
    return Guess(field, (f'in = "{unit}"{_UNSURE}, from its values', *marks), "" if value.name else _UNSURE)


def _by_name(name: str) -> str | None:
    last = name.rpartition(".")[2].lower()
    return next((field for words, field in _WORDS if re.search(words, last)), None)


def _by_values(value: Value, numbers: list[float]) -> str | None:
    """What a value without a name can hardly be but this: a time, or oxygen from a concentrator at work."""
    if value.texts and all(_is_iso(text) for text in value.texts):
        return "time"
    whole = all("." not in text and "," not in text for text in value.texts)
    return "purity_pct" if numbers and not whole and 80 <= median(numbers) <= 97 and min(numbers) >= 20 else None


def _time(value: Value, numbers: list[float]) -> Guess | None:
    if value.texts and all(_is_iso(text) for text in value.texts):
        return Guess("time", ('format = "iso"',))
    if numbers and 1e9 < median(numbers) < 1e10:
        return Guess("time", ('format = "unix"',))
    return Guess("time", ('format = "unix-ms"',)) if numbers and 1e12 < median(numbers) < 1e13 else None


def _is_iso(text: str) -> bool:
    try:
        return len(text) >= 16 and datetime.fromisoformat(text) is not None
    except ValueError:
        return False


def _text(word: str) -> str:
    return '"' + word.replace("\\", "").replace('"', "") + '"'
