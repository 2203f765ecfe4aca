"""What is on record about safe copies: a journal row for each, and one status document that the screens read."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path
from typing import Any, Final

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.safekeeping.keep import Kept
from collector.store.connect import connect_writer, immediate, store_path
from collector.store.journal import append
from collector.store.present import set_status, status
from collector.store.schema import check_schema

DOCUMENT: Final = "safe-copy"


def tell_kept(data: Path, kept: Kept, wall_ms: int, at_ms: int) -> None:
    """Write down that a copy is good; wall_ms is the machine's time, at_ms the facility's; StoreError."""
    manifest = kept.manifest
    body = {"copy": manifest.copy, "folder": str(kept.folder.parent), "bytes": kept.packed_bytes,
            "head_seq": manifest.head_seq, "head_hash": manifest.head_hash}  # fmt: skip
    _tell(data, entries.COPY_KEPT, body, wall_ms, at_ms)


def tell_failed(data: Path, folder: Path, said: str, wall_ms: int, at_ms: int) -> None:
    """Write down that no copy could be made; StoreError."""
    _tell(data, entries.COPY_FAILED, {"folder": str(folder), "said": said}, wall_ms, at_ms)


def _tell(data: Path, kind: str, body: dict[str, Any], wall_ms: int, at_ms: int) -> None:
    path = store_path(data)
    with closing(connect_writer(path, create=False)) as conn:
        check_schema(conn, path)
        with immediate(conn, path):
            document = status(conn, DOCUMENT) or {}
            document["failed" if kind == entries.COPY_FAILED else "good"] = body | {"wall_ms": wall_ms}
            append(conn, [JournalEntry(at_ms=at_ms, kind=kind, origin="keep", body=body)], wall_ms)
            set_status(conn, DOCUMENT, document)
