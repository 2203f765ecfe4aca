"""CSV files of typed rows."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path

import msgspec


def write_csv(path: Path, kind: type[msgspec.Struct], rows: Iterable[msgspec.Struct]) -> Path:
    """Write rows of one kind with its field names as header, which stands there without rows too; OSError."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(kind.__struct_fields__)
        writer.writerows([_cell(getattr(row, name)) for name in kind.__struct_fields__] for row in rows)
    return path


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "; ".join(map(str, value)) if isinstance(value, tuple) else value
