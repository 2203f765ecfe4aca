"""Proving a safe copy, and putting it back into a new data directory.

Rules of this file: nothing is put over what is there; the store gets its name in the last step. The journal's chain
goes on: its next row says that the store was put back, and from which copy.
"""

from __future__ import annotations

import shutil
import tarfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

import msgspec

from collector.rules import entries
from collector.rules.entries import JournalEntry
from collector.safekeeping.errors import KeepingError, disk_error
from collector.safekeeping.manifest import SECRETS, SITE, STORE, Manifest, check_sums, read_manifest
from collector.safekeeping.packed import Progress, bring_to_disk, nothing, unpack
from collector.safekeeping.proof import prove
from collector.store import StoreError
from collector.store.connect import connect_writer, immediate, store_path
from collector.store.journal import append
from collector.store.schema import unknown_migrations

_UNDER_WAY: Final = ".being-put-back"


class Restored(msgspec.Struct, frozen=True, kw_only=True):
    """A store that was put back: where, from what, its journal's head now, and how many wall links are valid in it."""

    data: Path
    manifest: Manifest
    head_seq: int
    head_hash: str
    site_file: Path | None
    wall_links: int


def prove_copy(copy: Path, work: Path, progress: Progress = nothing) -> Manifest:
    """Prove a copy whole: sums, pages, the journal's chain, counts; `work` is an empty folder with room for it."""
    try:
        return _unpacked(copy, work / _UNDER_WAY, progress)
    except OSError as error:
        raise disk_error(error, work) from error
    finally:
        (work / _UNDER_WAY).unlink(missing_ok=True)


def restore_copy(
    copy: Path, data: Path, wall_ms: int, who: str = "", secrets: Path | None = None, progress: Progress = nothing
) -> Restored:
    """Put a copy back as a new data directory; KeepingError, with nothing left there, when the copy is not whole."""
    manifest = read_manifest(copy)
    if strange := unknown_migrations(manifest.schema):
        raise KeepingError(f"{copy} was made by a newer version ({', '.join(strange)}). Use that version.")
    if data.exists() and (not data.is_dir() or any(data.iterdir())):
        raise KeepingError(
            f"{data} is not empty. A copy is put back into a new directory, never over data: name one that does not "
            "exist yet, and start the collector with it."
        )
    if secrets is not None:
        _check_secrets(manifest, copy, secrets)
    try:
        data.mkdir(parents=True, exist_ok=True)
        with _emptied_on_error(data):
            return _put_back(copy, data, wall_ms, who, secrets, progress)
    except OSError as error:
        raise disk_error(error, data) from error
    except StoreError as error:
        raise KeepingError(f"the copy was unpacked, but cannot be used: {error}") from error


@contextmanager
def _emptied_on_error(data: Path) -> Iterator[None]:
    try:
        yield
    except BaseException:
        shutil.rmtree(data, ignore_errors=True)
        raise


def _unpacked(copy: Path, target: Path, progress: Progress) -> Manifest:
    manifest = read_manifest(copy)
    check_sums(copy, manifest)
    if unpack(copy / STORE, target, progress) != manifest.store_sum:
        raise KeepingError(f"{copy / STORE} does not hold the store that was kept. Use another copy.")
    proof = prove(target, (manifest.head_seq, manifest.head_hash))
    counted = (proof.facility, proof.units, proof.readings, proof.schema)
    if counted != (manifest.facility, manifest.units, manifest.readings, manifest.schema):
        raise KeepingError(f"{copy} holds other counts than its manifest says. Use another copy.")
    return manifest


def _put_back(
    copy: Path, data: Path, wall_ms: int, who: str, secrets: Path | None, progress: Progress
) -> Restored:  # fmt: skip
    under_way = data / _UNDER_WAY
    manifest = _unpacked(copy, under_way, progress)
    head_seq, head_hash, wall_links = _carried_on(under_way, manifest, wall_ms, who)
    site_file = None
    if SITE in manifest.sums:
        site_file = data / SITE
        shutil.copyfile(copy / SITE, site_file)
    if secrets is not None:
        secrets.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tarfile.open(copy / SECRETS) as tar:
            tar.extractall(secrets, filter="data")
    under_way.rename(store_path(data))
    bring_to_disk(data)
    return Restored(data=data, manifest=manifest, head_seq=head_seq, head_hash=head_hash, site_file=site_file,
                    wall_links=wall_links)  # fmt: skip


def _carried_on(store: Path, manifest: Manifest, wall_ms: int, who: str) -> tuple[int, str, int]:
    """Write the next row, and end what must not come alive again: sessions and one-time codes."""
    body = {"copy": manifest.copy, "made_ms": manifest.made_ms, "head_seq": manifest.head_seq,
            "head_hash": manifest.head_hash}  # fmt: skip
    entry = JournalEntry(at_ms=wall_ms, kind=entries.STORE_RESTORED, who=who, origin="restore", body=body)
    wall_links = 0
    with closing(connect_writer(store, create=False)) as conn:
        with immediate(conn, store):
            (row,) = append(conn, [entry], wall_ms)
            if "people" in manifest.schema:
                conn.execute("UPDATE session SET ended_ms = ? WHERE ended_ms IS NULL", (wall_ms,))
                conn.execute("DELETE FROM one_time_code")
                (wall_links,) = conn.execute("SELECT count(*) FROM wall_link WHERE withdrawn_ms IS NULL").fetchone()
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # closing removes the -wal, whose name would be the wrong one
    return row.seq, row.hash, wall_links


def _check_secrets(manifest: Manifest, copy: Path, secrets: Path) -> None:
    if SECRETS not in manifest.sums:
        raise KeepingError(f"{copy} holds no secrets: it was made without --secrets. Put it back without them.")
    if secrets.exists() and any(secrets.iterdir()):
        raise KeepingError(f"{secrets} is not empty: name a new folder for the secrets.")
