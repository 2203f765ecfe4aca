"""Recorded readings in files: CSV, Parquet, and one SenML pack a line.

CSV and Parquet share the columns of HEADER; times are RFC 3339 UTC, empty or null means "not measured", and the columns
after power_w may be missing. Every reader streams and keeps nothing; a broken row is handed to `broken` with its number
and its reason, and the rest goes on.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final, Protocol, Self

from collector import senml
from collector.reading import QUANTITIES, Reading, fault_in, iso_utc, parse_utc

if TYPE_CHECKING:
    from pyarrow import RecordBatch

HEADER: Final = ("time", "unit", *QUANTITIES)
_NEEDED: Final = HEADER[:5]
Broken = Callable[[int, str], None]


class RecordingError(Exception):
    """A file that cannot be read or written as a recording at all; the text names it and the way out."""


class Writer(Protocol):
    """Writes readings one by one."""

    def write(self, reading: Reading) -> None: ...


def form_of(path: Path) -> str:
    """The form of a recording by its name: csv, parquet or senml; RecordingError for any other."""
    name = path.name.lower()
    for ending, form in ((".csv", "csv"), (".parquet", "parquet"), (".senml.jsonl", "senml")):
        if name.endswith(ending):
            return form
    raise RecordingError(f"{path}: not a recording; its name must end in .csv, .parquet or .senml.jsonl")


def read_recording(path: Path, broken: Broken, facility: str = "") -> Iterator[Reading]:
    """Yield a file's readings in its own order; `broken(row_number, reason)` gets each row that is none.

    Row numbers are line numbers, and the count from 1 in Parquet. `facility` tells SenML's device names apart.
    RecordingError when the file is none at all.
    """
    reader = {"csv": _read_csv, "parquet": _read_parquet, "senml": _read_senml}[form_of(path)]
    with recording_errors(path):
        yield from reader(path, broken, facility)


@contextmanager
def recording_errors(path: Path) -> Iterator[None]:
    """Make errors of reading a file a RecordingError that names it."""
    try:
        yield
    except FileNotFoundError as error:
        raise RecordingError(f"{path}: no such file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise RecordingError(f"{path}: cannot be read: {error}") from error


def _columns(path: Path, names: list[str]) -> list[str]:
    missing = [name for name in _NEEDED if name not in names]
    extra = [name for name in names if name not in HEADER]
    if missing or extra:
        said = [f"{path}:1: the header lacks {', '.join(missing)}"] if missing else []
        said += [f"{path}:1: unknown column {', '.join(extra)}"] if extra else []
        raise RecordingError("; ".join(said) + f"; it must be {','.join(HEADER)}")
    return names


def _read_csv(path: Path, broken: Broken, facility: str) -> Iterator[Reading]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        names = _columns(path, [name.strip() for name in next(rows, [])])
        for row in rows:
            if not row:
                continue
            try:
                if len(row) != len(names):
                    raise ValueError(f"{len(row)} fields, the header has {len(names)}")
                yield _checked(_from_texts(dict(zip(names, row, strict=True))))
            except ValueError as error:
                broken(rows.line_num, str(error))


def _from_texts(texts: dict[str, str]) -> Reading:
    values: dict[str, float | None] = {}  # in the order of Reading's fields
    for name in QUANTITIES:
        text = texts.get(name, "").strip()
        try:
            values[name] = float(text) if text else None
        except ValueError as error:
            raise ValueError(f"{name} '{text}' is not a number") from error
    return Reading(texts["unit"].strip(), parse_utc(texts["time"].strip()), *(values[name] for name in QUANTITIES))  # type: ignore[arg-type]


def _checked(reading: Reading) -> Reading:
    if not reading.unit:
        raise ValueError("no unit")
    if fault := fault_in(reading):
        raise ValueError(fault)
    return reading


def _read_parquet(path: Path, broken: Broken, facility: str) -> Iterator[Reading]:
    number = 0
    for batch in parquet_batches(path, 8192):
        yield from readings_in(batch, number, broken)
        number += batch.num_rows


def parquet_batches(path: Path, rows: int) -> Iterator[RecordBatch]:
    """A Parquet recording in batches of at most so many rows, its columns checked; OSError as pyarrow says."""
    import pyarrow.parquet as pq  # a quarter of a second to import: only for those who use it

    with pq.ParquetFile(path) as file:
        names = _columns(path, file.schema_arrow.names)
        yield from file.iter_batches(batch_size=rows, columns=names)


def readings_in(batch: RecordBatch, number: int, broken: Broken) -> Iterator[Reading]:
    """The readings of a batch whose first row comes after so many others."""
    for unit, moment, values in _parquet_rows(batch):
        number += 1
        try:
            yield _checked(_from_values(unit, moment, values))
        except (ValueError, TypeError, AttributeError) as error:
            broken(number, str(error))


def _parquet_rows(batch: RecordBatch) -> Iterator[tuple[object, object, list[object]]]:
    """Unit, time and values of each row, column by column: three times as fast as a mapping for each row.

    A time of a kind that is no moment stays what it is and is refused with its row.
    """
    import pyarrow as pa

    columns = {name: batch.column(name) for name in batch.schema.names}
    times = columns["time"]
    if pa.types.is_timestamp(times.type) and times.type.tz is not None:
        times = times.cast(pa.timestamp("ms", times.type.tz), safe=False).cast(pa.int64())
    elif pa.types.is_integer(times.type):  # of what, nobody knows: refused row by row
        times = times.cast(pa.string())
    absent = [None] * batch.num_rows
    lists = [columns[name].to_pylist() if name in columns else absent for name in QUANTITIES]
    yield from zip(columns["unit"].to_pylist(), times.to_pylist(), map(list, zip(*lists, strict=True)), strict=True)


def _from_values(unit: object, moment: object, values: list[object]) -> Reading:
    if isinstance(moment, int):
        time_ms = moment
    else:
        time_ms = parse_utc(moment if isinstance(moment, str) else moment.isoformat())  # type: ignore[attr-defined]
    numbers = [None if value is None else float(value) for value in values]  # type: ignore[arg-type]
    return Reading(str(unit), time_ms, *numbers)  # type: ignore[arg-type]


def _read_senml(path: Path, broken: Broken, facility: str) -> Iterator[Reading]:
    with path.open("rb") as file:
        for number, line in enumerate(file, 1):
            if not line.strip():
                continue
            try:
                for reading in _from_pack(line, facility):
                    yield _checked(reading)
            except ValueError as error:
                broken(number, str(error))


def _from_pack(line: bytes, facility: str) -> list[Reading]:
    names = [item.name for item in senml.resolve(line, 0)]
    device = names[0].rpartition(":")[0].rpartition(":")[2] if names else ""
    if not device.startswith(f"{facility}-"):
        raise ValueError(f"'{device}' is no unit of the facility '{facility}'")
    return senml.decode_pack(line, 0, facility, device.removeprefix(f"{facility}-"))


@contextmanager
def open_writer(path: Path, facility: str = "") -> Iterator[Writer]:
    """Open a new recording for writing, in the form its name says; `facility` is needed for SenML's names.

    RecordingError when it cannot be written. The file is complete only when the context ends.
    """
    form = form_of(path)
    writer: AbstractContextManager[Writer]
    if form == "csv":
        writer = _CsvWriter(path)
    elif form == "parquet":
        writer = _ParquetWriter(path)
    else:
        writer = _SenmlWriter(path, facility)
    try:
        with writer as opened:
            yield opened
    except OSError as error:
        raise RecordingError(f"{path}: cannot be written: {error}") from error


class _CsvWriter:
    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> Self:
        self._file = self._path.open("w", encoding="utf-8", newline="")
        self._rows = csv.writer(self._file, lineterminator="\n")
        self._rows.writerow(HEADER)
        return self

    def write(self, reading: Reading) -> None:
        values = [getattr(reading, name) for name in QUANTITIES]
        texts = ["" if value is None else repr(value) for value in values]
        self._rows.writerow([iso_utc(reading.time_ms), reading.unit, *texts])

    def __exit__(self, *exc: object) -> None:
        self._file.close()


class _ParquetWriter:
    _GROUP: Final = 20_000  # rows a group: a few MB of memory, and groups large enough to compress

    def __init__(self, path: Path) -> None:
        self._path, self._rows = path, list[Reading]()

    def __enter__(self) -> Self:
        import pyarrow as pa
        import pyarrow.parquet as pq

        fields = [("time", pa.timestamp("ms", tz="UTC")), ("unit", pa.string())]
        self._schema = pa.schema(fields + [(name, pa.float64()) for name in QUANTITIES])
        self._file = pq.ParquetWriter(self._path, self._schema, compression="zstd")
        return self

    def write(self, reading: Reading) -> None:
        self._rows.append(reading)
        if len(self._rows) >= self._GROUP:
            self._flush()

    def _flush(self) -> None:
        import pyarrow as pa

        columns = [[r.time_ms for r in self._rows], [r.unit for r in self._rows]]
        columns += [[getattr(r, name) for r in self._rows] for name in QUANTITIES]
        arrays = [pa.array(values, type=field.type) for values, field in zip(columns, self._schema, strict=True)]
        self._file.write_table(pa.table(arrays, schema=self._schema))
        self._rows.clear()

    def __exit__(self, *exc: object) -> None:
        if self._rows:
            self._flush()
        self._file.close()


class _SenmlWriter:
    def __init__(self, path: Path, facility: str) -> None:
        if not facility:
            raise RecordingError(f"{path}: SenML names need a facility")
        self._path, self._facility = path, facility

    def __enter__(self) -> Self:
        self._file: IO[bytes] = self._path.open("wb")
        return self

    def write(self, reading: Reading) -> None:
        self._file.write(senml.encode_pack(self._facility, reading.unit, [reading]) + b"\n")

    def __exit__(self, *exc: object) -> None:
        self._file.close()
