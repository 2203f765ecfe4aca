"""Readings of one unit as columns, and the lossless blob that an hour of them is kept in."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from collector.reading import LAMPS, QUANTITIES, Reading
from collector.store.errors import StoreError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LAMP_CODES: Final[dict[str | None, int]] = {None: 0, **{lamp: code for code, lamp in enumerate(LAMPS, 1)}}
_LAMP_NAMES: Final = (None, *LAMPS)


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Readings of one unit, oldest first: int64 ms, float64 with NaN for "not measured", lamp codes (0 = none)."""

    time_ms: Ints
    purity_pct: Floats
    flow_lpm: Floats
    power_w: Floats
    temp_c: Floats
    volts: Floats
    pressure_kpa: Floats
    hours_h: Floats
    lamp: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.time_ms)

    @classmethod
    def of_rows(cls, rows: Sequence[tuple[Any, ...]]) -> Columns:
        """From rows of (time_ms, the seven quantities or None, lamp code)."""
        table = np.array(rows, dtype=np.float64).reshape(-1, len(QUANTITIES) + 2)
        return cls.of_table(table)

    @classmethod
    def of_table(cls, table: Floats) -> Columns:
        """From a float64 table; moments in ms are exact in float64 for the next 280,000 years."""
        first, *middle, last = np.ascontiguousarray(table.T)
        return cls(first.astype(np.int64), *middle, last.astype(np.int8))  # type: ignore[call-arg]

    @classmethod
    def stacked(cls, parts: Iterable[Columns]) -> Columns:
        """Parts one after the other, as they are."""
        kept = [part for part in parts if len(part)]
        if len(kept) == 1:
            return kept[0]
        if not kept:
            return cls.of_rows([])
        return cls(*(np.concatenate([getattr(part, name) for part in kept]) for name in _NAMES))

    @classmethod
    def joined(cls, parts: Iterable[Columns]) -> Columns:
        """Parts put together, sorted by time; of two readings of one moment the one of the earlier part stays."""
        whole = cls.stacked(parts)
        if bool(np.all(whole.time_ms[1:] > whole.time_ms[:-1])):
            return whole
        return whole.taken(np.unique(whole.time_ms, return_index=True)[1])

    def taken(self, which: slice | NDArray[np.intp]) -> Columns:
        """The rows that an index, mask or slice picks."""
        return Columns(*(getattr(self, name)[which] for name in _NAMES))

    def between(self, from_ms: int, to_ms: int) -> Columns:
        """The rows with from_ms <= time < to_ms."""
        first, last = np.searchsorted(self.time_ms, (from_ms, to_ms))
        return self if first == 0 and last == len(self) else self.taken(slice(int(first), int(last)))

    def rows(self) -> list[tuple[Any, ...]]:
        """As tuples in the order of the fields; None for "not measured", lamp as its code."""
        columns = [self.time_ms.tolist(), *(_with_none(getattr(self, name)) for name in QUANTITIES), self.lamp.tolist()]
        return list(zip(*columns, strict=True))

    def readings(self, unit: str) -> list[Reading]:
        """As readings of the unit."""
        return [reading_of(unit, row) for row in self.rows()]


_NAMES: Final = tuple(field.name for field in fields(Columns))


def reading_of(unit: str, row: tuple[Any, ...]) -> Reading:
    """The reading that a row of `Columns.rows` stands for."""
    return Reading(unit, *row[:-1], _LAMP_NAMES[row[-1]])  # type: ignore[call-arg]


def _with_none(column: Floats) -> list[float | None]:
    objects = column.astype(object)
    objects[np.isnan(column)] = None
    return list(objects.tolist())


# --- the blob ---------------------------------------------------------------------------------------------------------
# One version byte, then zlib over the columns. An instrument has a resolution, so most columns are whole multiples of a
# power of ten: those are kept as differences of integers in the narrowest width (a third of the size of float64), but
# only when every value comes back bit for bit; else as float64. Byte order is little-endian everywhere.
_VERSION: Final = b"\x01"
_ABSENT, _DECIMAL, _FLOAT = range(3)
_HEAD: Final = struct.Struct("<BBBxqI")  # kind, decimals, width | mask flag, first value, how many values
_WIDTHS: Final = tuple(np.dtype(code) for code in ("<i1", "<i2", "<i4", "<i8"))
_LIMITS: Final = tuple((np.iinfo(width).min, np.iinfo(width).max) for width in _WIDTHS)
_MASKED: Final = 0x80
_DECIMALS: Final = (0, 1, 2, 3, 4)
_EXACT: Final = float(2**52)


def pack(columns: Columns) -> bytes:
    """Pack an hour's readings without loss."""
    parts = [struct.pack("<I", len(columns)), _pack_ints(columns.time_ms, 0, None)]
    parts += [_pack_floats(getattr(columns, name)) for name in QUANTITIES]
    parts.append(_pack_ints(columns.lamp.astype(np.int64), 0, None))
    return _VERSION + zlib.compress(b"".join(parts), 6)


def unpack(blob: bytes) -> Columns:
    """Read what `pack` wrote; StoreError (corrupt) when it is damaged or of a version that is not known."""
    if blob[:1] != _VERSION:
        raise StoreError("corrupt", f"An hour of packed readings has the unknown form {blob[:1]!r}: it is damaged, or "
                         "was written by a newer version. Restore a backup.")  # fmt: skip
    try:
        data = zlib.decompress(memoryview(blob)[1:])
        (n,) = struct.unpack_from("<I", data)
        at = 4
        columns: list[NDArray[Any]] = []
        for _ in _NAMES:
            column, at = _unpack(data, at, n)
            columns.append(column)
    except (zlib.error, struct.error, ValueError, IndexError) as error:
        raise StoreError("corrupt", f"An hour of packed readings is damaged ({error}). Restore a backup.") from error
    first, *middle, last = columns
    return Columns(first.astype(np.int64), *middle, last.astype(np.int8))  # type: ignore[call-arg]


def _pack_floats(column: Floats) -> bytes:
    here = ~np.isnan(column)
    mask = None if here.all() else here
    values = column if mask is None else np.ascontiguousarray(column[here])
    if not len(values):
        return _HEAD.pack(_ABSENT, 0, 0, 0, 0)
    with np.errstate(all="ignore"):
        for decimals in _DECIMALS:
            scaled = np.rint(values * 10.0**decimals)
            if np.abs(scaled).max() >= _EXACT:
                break
            whole = scaled.astype(np.int64)
            if np.array_equal((whole / 10.0**decimals).view(np.int64), values.view(np.int64)):
                return _pack_ints(whole, decimals, mask)
    return _HEAD.pack(_FLOAT, 0, _flag(mask), 0, len(values)) + _bits(mask) + values.astype("<f8").tobytes()


def _pack_ints(values: Ints, decimals: int, mask: NDArray[np.bool_] | None) -> bytes:
    steps = np.diff(values)
    low, high = (int(steps.min()), int(steps.max())) if len(steps) else (0, 0)
    width = next(i for i, (least, most) in enumerate(_LIMITS) if least <= low and high <= most)
    first = int(values[0]) if len(values) else 0
    head = _HEAD.pack(_DECIMAL, decimals, width | _flag(mask), first, len(values))
    return head + _bits(mask) + steps.astype(_WIDTHS[width]).tobytes()


def _flag(mask: NDArray[np.bool_] | None) -> int:
    return 0 if mask is None else _MASKED


def _bits(mask: NDArray[np.bool_] | None) -> bytes:
    return b"" if mask is None else np.packbits(mask).tobytes()


def _unpack(data: bytes, at: int, n: int) -> tuple[Floats, int]:
    kind, decimals, how, first, count = _HEAD.unpack_from(data, at)
    at += _HEAD.size
    if kind == _ABSENT:
        return np.full(n, np.nan), at
    mask = None
    if how & _MASKED:
        size = (n + 7) // 8
        mask = np.unpackbits(np.frombuffer(data, np.uint8, size, at), count=n).astype(bool)
        at += size
    if kind == _FLOAT:
        values = np.frombuffer(data, "<f8", count, at)
        at += values.nbytes
    else:
        values, at = _unpack_ints(data, at, _WIDTHS[how & 0x7F], first, count)
        if decimals:
            values = values / 10.0**decimals
    if mask is None:
        return values.astype(np.float64), at
    column = np.full(n, np.nan)
    column[mask] = values
    return column, at


def _unpack_ints(data: bytes, at: int, width: np.dtype[Any], first: int, count: int) -> tuple[Floats, int]:
    steps = np.frombuffer(data, width, max(count - 1, 0), at)
    values = np.empty(count, np.int64)
    if count:
        values[0] = first
        np.cumsum(steps, dtype=np.int64, out=values[1:])
        values[1:] += first
    return values.astype(np.float64), at + steps.nbytes
