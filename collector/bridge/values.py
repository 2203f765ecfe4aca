"""Texts and numbers by name to a reading: units converted, an analyser's known error taken out, time made UTC."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from collector.bridge.analyser import Correction, correction, pressure_at_kpa, remark
from collector.bridge.profile_tables import FieldTable, Profile
from collector.bridge.splitting import NotRead
from collector.bridge.units import CONVERSIONS
from collector.reading import EARLIEST_MS, LAMPS, Reading, fault_in, parse_utc

#: What a number looks like; float() would also take "1_000", "nan" and "infinity". Forty signs hold any number.
_NUMBER: Final = re.compile(r"[+-]?(\d{1,20}(\.\d{0,20})?|\.\d{1,20})([eE][+-]?\d{1,3})?", re.ASCII)
_SHOWN: Final = 40
_LATEST_MS: Final = 7_258_118_400_000  # the year 2200


class Told(NamedTuple):
    """A reading, and its purity as the analyser showed it where something was corrected."""

    reading: Reading
    shown_pct: float | None


class Maker:
    """Makes readings of one port's values.

    altitude_m is where the port stands, calibrated_altitude_m where its analyser was calibrated (None: here).
    """

    def __init__(self, profile: Profile, altitude_m: float = 0.0, calibrated_altitude_m: float | None = None) -> None:
        self._profile = profile
        self._ambient_kpa = pressure_at_kpa(altitude_m)
        self.correction: Correction | None = correction(profile.analyser, altitude_m, calibrated_altitude_m)
        self._remark = remark(profile.analyser, calibrated_altitude_m)

    @property
    def corrections(self) -> tuple[str, ...]:
        """What is done to values beyond converting units, and what is taken for granted, in words."""
        absolute = self._profile.field.pressure_kpa
        less = f"pressure less {self._ambient_kpa:.1f} kPa of air" if absolute and absolute.absolute else ""
        return tuple(said for said in (self.correction.said if self.correction else "", self._remark, less) if said)

    def from_texts(self, unit: str, texts: Mapping[str, str], now_ms: int) -> Told:
        """The reading of a line; NotRead says what in it cannot be used."""
        values: dict[str, float] = {}
        fields = self._profile.field
        for name, table in fields.quantities().items():
            if (number := self._number(name, table, texts.get(name))) is not None:
                values[name] = number
        lamp = _lamp(fields.lamp, texts.get("lamp")) if fields.lamp else None
        time_ms = _own_time_ms(fields.time, texts.get("time"), now_ms) if fields.time else now_ms
        return self._told(unit, time_ms, values, lamp)

    def from_numbers(self, unit: str, numbers: Mapping[str, float], now_ms: int) -> Told:
        """The reading of registers; NotRead says what in them cannot be used."""
        values: dict[str, float] = {}
        fields = self._profile.field
        for name, number in numbers.items():
            table = getattr(fields, name)
            if _register_text(number) not in table.missing and name != "lamp":
                values[name] = self._converted(name, table, number)
        lamp = _lamp(fields.lamp, _register_text(numbers["lamp"])) if fields.lamp and "lamp" in numbers else None
        return self._told(unit, now_ms, values, lamp)

    def _told(self, unit: str, time_ms: int, values: dict[str, float], lamp: str | None) -> Told:
        shown_pct = None
        if self.correction and "purity_pct" in values:
            shown_pct = values["purity_pct"]
            if fault := fault_in(Reading(unit, time_ms, purity_pct=shown_pct)):
                raise NotRead(fault)
            values["purity_pct"] = round(self.correction.apply(shown_pct), 3)
        reading = Reading(unit, time_ms, lamp=lamp, **values)
        if fault := fault_in(reading):
            raise NotRead(fault)
        return Told(reading, shown_pct)

    def _number(self, name: str, table: FieldTable, text: str | None) -> float | None:
        if text is None:
            return None
        plain = text.strip().removesuffix(table.strip).strip() if table.strip else text.strip()
        if plain in table.missing or text.strip() in table.missing:
            return None
        if self._profile.decimal == ",":
            plain = plain.replace(".", "x").replace(",", ".")
        if not _NUMBER.fullmatch(plain):
            raise NotRead(f"{name}: '{text.strip()[:_SHOWN]}' is no number")
        return self._converted(name, table, float(plain))

    def _converted(self, name: str, table: FieldTable, number: float) -> float:
        conversion = CONVERSIONS[name][table.unit]
        value = (number * table.scale + table.offset) * conversion.factor + conversion.offset
        if table.absolute:
            value -= self._ambient_kpa
        if not math.isfinite(value):
            raise NotRead(f"{name}: {number} is no value")
        return round(value, 6)


def _register_text(number: float) -> str:
    return str(int(number)) if math.isfinite(number) and number == int(number) else str(number)


def _lamp(table: FieldTable, text: str | None) -> str | None:
    word = (text or "").strip()
    if text is None or word in table.missing:
        return None
    lamp = table.words.get(word, word.lower() if not table.words else "")
    if lamp not in LAMPS:
        raise NotRead(f"lamp: '{word[:_SHOWN]}' is none of {', '.join(table.words or LAMPS)}")
    return lamp


def _own_time_ms(table: FieldTable, text: str | None, now_ms: int) -> int:
    """The device's own time; now_ms where it says none, or one from before any clock was set (a flat battery)."""
    word = (text or "").strip()
    if word in table.missing:
        return now_ms
    time_ms = _time_ms(table, word)
    if time_ms > _LATEST_MS:
        raise NotRead(f"time: '{word[:_SHOWN]}' is no moment of this age")
    return time_ms if time_ms >= EARLIEST_MS else now_ms


def _time_ms(table: FieldTable, word: str) -> int:
    try:
        if table.format == "iso":
            moment = datetime.fromisoformat(word)
            zoned = moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(table.zone))
            return parse_utc(zoned.isoformat())
        if table.format.startswith("unix"):
            if not _NUMBER.fullmatch(word):
                raise ValueError("no number")
            return round(float(word) * (1 if table.format == "unix-ms" else 1000))
        found = datetime.strptime(word, table.format)  # noqa: DTZ007 - the zone is put to it in the next line
        return round((found if found.tzinfo else found.replace(tzinfo=ZoneInfo(table.zone))).timestamp() * 1000)
    except (ValueError, OverflowError, OSError) as error:
        raise NotRead(f"time: '{word[:_SHOWN]}' is no {table.format} time") from error
