"""SenML packs (RFC 8428, features after RFC 9100) to readings and back.

Rules of this file: a pack is parsed to records (`_PARSERS`, JSON now; CBOR gets its own entry), records are resolved by
RFC 8428 section 4.6, and resolved records are gathered by moment into readings. A pack that breaks the standard, needs
a feature we lack or speaks for another unit than its topic is refused whole with a reason; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Final, NamedTuple

import msgspec

from collector.reading import QUANTITIES, Reading

#: Times below this many seconds are relative to the time of reception (RFC 8428 section 4.5.3).
ABSOLUTE_FROM_S: Final = 2**28
DEFAULT_VERSION: Final = 10
#: RFC 9100: the version is a bit set of features; 10 is bits 1 and 3 (reserved), bit 4 is "Secondary Units".
SECONDARY_UNITS: Final = 1 << 4
_KNOWN_FEATURES: Final = DEFAULT_VERSION | SECONDARY_UNITS


class SenmlError(ValueError):
    """A pack that cannot be read; `kind` groups reasons for counting."""

    def __init__(self, kind: str, reason: str) -> None:
        super().__init__(reason)
        self.kind = kind


class Record(msgspec.Struct, gc=False, forbid_unknown_fields=True):
    """One SenML record as sent; None stands for a field that is not there."""

    n: str | None = None
    u: str | None = None
    v: float | None = None
    t: float = 0.0
    bn: str | None = None
    bt: float | None = None
    bu: str | None = None
    bv: float | None = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None
    s: float | None = None
    bs: float | None = None
    bver: int | None = None
    ut: float | None = None


class Resolved(NamedTuple):
    """A record with its base fields applied: full name, unit, absolute time in s, and the value or sum it carries."""

    name: str
    unit: str | None
    time_s: float
    value: float | str | bool | None
    sum: float | None
    version: int


_decode_records = msgspec.json.Decoder(list[Record]).decode
_decode_loose = msgspec.json.Decoder(list[dict[str, Any]]).decode


def _parse_json(payload: bytes) -> list[Record]:
    try:
        return _decode_records(payload)
    except msgspec.ValidationError:
        # Unknown labels are legal (RFC 8428 section 4.4) unless they end in "_"; only then is the slow way taken.
        return [_record_from(fields) for fields in _loose(payload)]
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise SenmlError("not-json", f"not a JSON text: {error}") from error


def _loose(payload: bytes) -> list[dict[str, Any]]:
    try:
        return _decode_loose(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:  # this may lie behind an unknown label
        kind = "not-senml" if isinstance(error, msgspec.ValidationError) else "not-json"
        raise SenmlError(kind, f"not a SenML pack: {error}") from error


def _record_from(fields: dict[str, Any]) -> Record:
    known = {}
    for label, value in fields.items():
        if label in Record.__struct_fields__:
            known[label] = value
        elif label.endswith("_"):
            raise SenmlError("must-understand", f"the label '{label}' must be understood, and is not known here")
    try:
        return msgspec.convert(known, Record)
    except msgspec.ValidationError as error:
        raise SenmlError("not-senml", f"not a SenML record: {error}") from error


_PARSERS: Final[dict[str, Callable[[bytes], list[Record]]]] = {"json": _parse_json}


def _check_version(version: int) -> int:
    if version & ~_KNOWN_FEATURES or version & DEFAULT_VERSION != DEFAULT_VERSION:
        raise SenmlError("version", f"SenML version {version} needs features that are not known here")
    return version


def resolve(payload: bytes, received_ms: int, form: str = "json") -> list[Resolved]:
    """Resolve any SenML pack, whatever it measures, in the order of its records (RFC 8428 section 4.6).

    Records that carry no value and no sum (a lone base name, say) are left out. SenmlError says why a pack is refused.
    """
    return list(_resolve(_PARSERS[form](payload), received_ms))


def _resolve(records: Iterable[Record], received_ms: int) -> Iterator[Resolved]:
    base_name, base_time, base_unit, version = "", 0.0, None, DEFAULT_VERSION
    base_value: float | None = None
    base_sum: float | None = None
    now_s = received_ms / 1000
    for r in records:
        if r.bver is not None:
            version = _check_version(r.bver)
        base_name = base_name if r.bn is None else r.bn
        base_time = base_time if r.bt is None else r.bt
        base_unit = base_unit if r.bu is None else r.bu
        base_value = base_value if r.bv is None else r.bv
        base_sum = base_sum if r.bs is None else r.bs
        value: float | str | bool | None = r.v
        if value is None:
            value = r.vs if r.vs is not None else r.vb if r.vb is not None else r.vd
            if value is None and r.s is None and base_sum is None and (base_value is None or r.n is None):
                continue
            value = base_value if value is None and r.s is None else value
        elif base_value is not None:
            value = base_value + r.v  # type: ignore[operator]
        total = r.s if base_sum is None else base_sum + (r.s or 0.0)
        name = base_name + (r.n or "")
        if not name:
            raise SenmlError("no-name", "a record has neither a name nor a base name")
        time_s = base_time + r.t
        yield Resolved(name, r.u if r.u is not None else base_unit,
                       time_s if time_s >= ABSOLUTE_FROM_S else now_s + time_s, value, total, version)  # fmt: skip


class _Scale(NamedTuple):
    field: str
    factor: float
    offset: float
    secondary: bool


#: (quantity, unit) -> how it becomes a reading's field. SenML's `%` and `/` are ratios from 0 to 1 (RFC 8428 section
#: 12.1); `/100`, `h`, `kW`, `mV`, `hPa` are secondary units (RFC 8798), allowed only with the feature in `bver`.
#: `l/min` is this project's extension: no SenML unit exists for it, and bedside flow is spoken in it.
_SCALES: Final[dict[tuple[str, str], _Scale]] = {
    ("purity", "/"): _Scale("purity_pct", 100.0, 0.0, False),
    ("purity", "%"): _Scale("purity_pct", 100.0, 0.0, False),
    ("purity", "/100"): _Scale("purity_pct", 1.0, 0.0, True),
    ("flow", "m3/s"): _Scale("flow_lpm", 60_000.0, 0.0, False),
    ("flow", "l/s"): _Scale("flow_lpm", 60.0, 0.0, False),
    ("flow", "l/min"): _Scale("flow_lpm", 1.0, 0.0, False),
    ("power", "W"): _Scale("power_w", 1.0, 0.0, False),
    ("power", "kW"): _Scale("power_w", 1000.0, 0.0, True),
    ("temp", "Cel"): _Scale("temp_c", 1.0, 0.0, False),
    ("temp", "K"): _Scale("temp_c", 1.0, -273.15, False),
    ("volts", "V"): _Scale("volts", 1.0, 0.0, False),
    ("volts", "mV"): _Scale("volts", 0.001, 0.0, True),
    ("pressure", "Pa"): _Scale("pressure_kpa", 0.001, 0.0, False),
    ("pressure", "hPa"): _Scale("pressure_kpa", 0.1, 0.0, True),
    ("hours", "s"): _Scale("hours_h", 1 / 3600, 0.0, False),
    ("hours", "h"): _Scale("hours_h", 1.0, 0.0, True),
}
_QUANTITIES: Final = {quantity for quantity, _ in _SCALES} | {"lamp"}


def _time_ms(time_s: float) -> int:
    if not abs(time_s) < 1e11:  # the year 5138: beyond it is no clock that is set wrong but a broken number
        raise SenmlError("time", f"{time_s} s is no moment of this age")
    return round(time_s * 1000)


def decode_pack(payload: bytes, received_ms: int, facility: str, unit: str, form: str = "json") -> list[Reading]:
    """Read a unit's pack into one reading a moment, in the pack's order of first mention.

    The base name must end in `<facility>-<unit>:`, as the topic says. Quantities that this project does not know are
    left out; values are rounded to 1e-6 of their unit, so that a ratio of 0.934 is 93.4 %. Raises SenmlError.
    """
    ending = f":{facility}-{unit}:"
    if form == "json" and (plain := _plain_reading(payload, unit, ending)) is not None:
        return [plain]
    moments: dict[int, Reading] = {}
    for item in _resolve(_PARSERS[form](payload), received_ms):
        base, colon, quantity = item.name.rpartition(":")
        if not (base + colon).endswith(ending):
            raise SenmlError("other-unit", f"the pack speaks for '{base}', its topic for '{facility}-{unit}'")
        if quantity not in _QUANTITIES or item.value is None:
            continue
        time_ms = _time_ms(item.time_s)
        reading = moments.get(time_ms)
        if reading is None:
            reading = moments[time_ms] = Reading(unit, time_ms)
        _put(reading, quantity, item)
    if not moments:
        raise SenmlError("nothing-known", f"none of {', '.join(sorted(_QUANTITIES))} is in the pack")
    return list(moments.values())


class _Plain(msgspec.Struct, gc=False, forbid_unknown_fields=True):
    n: str
    u: str
    v: float
    bn: str | None = None
    bt: float | None = None


_decode_plain = msgspec.json.Decoder(list[_Plain]).decode
#: (quantity, unit) -> index of its field in a Reading's quantities, and factor; what needs more is no plain record.
_PLAIN: Final = {
    pair: (QUANTITIES.index(scale.field), scale.factor)
    for pair, scale in _SCALES.items()
    if not (scale.secondary or scale.offset)
}


def _plain_reading(payload: bytes, unit: str, ending: str) -> Reading | None:
    """The usual pack, of one moment and core units only, in a third of the time; None: read it the general way.

    The decoder refuses any field beyond the five of a plain record, so nothing that changes a meaning is passed over.
    """
    try:
        records = _decode_plain(payload)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    base = records[0] if records else None
    if base is None or base.bt is None or base.bn is None or base.bt < ABSOLUTE_FROM_S or not base.bn.endswith(ending):
        return None
    values: list[float | None] = [None] * len(QUANTITIES)
    for r in records:
        place = _PLAIN.get((r.n, r.u))
        if place is None or (r is not base and (r.bn is not None or r.bt is not None)):
            return None
        index, factor = place
        values[index] = r.v if factor == 1.0 else round(r.v * factor, 6)
    return Reading(unit, _time_ms(base.bt), *values)  # type: ignore[arg-type]


def _put(reading: Reading, quantity: str, item: Resolved) -> None:
    value = item.value
    if quantity == "lamp":
        if not isinstance(value, str):
            raise SenmlError("value", "lamp must be a string value")
        reading.lamp = value
        return
    scale = _SCALES.get((quantity, item.unit or ""))
    if scale is None:
        known = ", ".join(unit for name, unit in _SCALES if name == quantity)
        raise SenmlError("unit", f"{quantity} in '{item.unit or 'no unit'}' is not known; use {known}")
    if scale.secondary and not item.version & SECONDARY_UNITS:
        raise SenmlError("version", f"'{item.unit}' is a secondary unit: it needs bver {_KNOWN_FEATURES} (RFC 9100)")
    if not isinstance(value, float):
        raise SenmlError("value", f"{quantity} must be a number")
    setattr(reading, scale.field, value if scale.factor == 1.0 and not scale.offset
            else round(value * scale.factor + scale.offset, 6))  # fmt: skip


#: (quantity, field, unit written, factor from ours to it). Core units only, but for `l/min`.
_WRITTEN: Final = (
    ("purity", "purity_pct", "/", 0.01),
    ("flow", "flow_lpm", "l/min", 1.0),
    ("power", "power_w", "W", 1.0),
    ("temp", "temp_c", "Cel", 1.0),
    ("volts", "volts", "V", 1.0),
    ("pressure", "pressure_kpa", "Pa", 1000.0),
    ("hours", "hours_h", "s", 3600.0),
)


def base_name(facility: str, unit: str) -> str:
    """The base name of a unit's packs."""
    return f"urn:dev:ops:{facility}-{unit}:"


def encode_pack(facility: str, unit: str, readings: Sequence[Reading]) -> bytes:
    """Write readings of one unit, of one or many moments, as a JSON pack; ValueError when there is nothing to write."""
    records: list[dict[str, object]] = []
    start_ms = readings[0].time_ms if readings else 0
    for reading in readings:
        offset = round((reading.time_ms - start_ms) / 1000, 3)
        stamp: dict[str, object] = {"t": offset} if offset else {}
        for quantity, field, senml_unit, factor in _WRITTEN:
            value = getattr(reading, field)
            if value is not None:
                scaled = value if factor == 1.0 else round(value * factor, 8)
                records.append({"n": quantity, "u": senml_unit, "v": scaled, **stamp})
        if reading.lamp is not None:
            records.append({"n": "lamp", "vs": reading.lamp, **stamp})
    if not records:
        raise ValueError("a pack needs at least one measured value")
    return msgspec.json.encode([{"bn": base_name(facility, unit), "bt": start_ms / 1000} | records[0], *records[1:]])
