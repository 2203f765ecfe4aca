"""Making one safe copy: taken, proven, packed, read back, named, and only then are older ones let go.

Rules of this file: work is done in a folder whose name says that it is under way; it gets the copy's name in the last
step, so that whenever the work is broken off (kill, power, disk pulled) the copies that were there are there still.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tarfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

import msgspec

from collector.reading import iso_utc
from collector.safekeeping.errors import KeepingError, disk_error
from collector.safekeeping.manifest import NAME, SECRETS, SITE, STORE, Manifest, copies_in, write_manifest
from collector.safekeeping.packed import Progress, bring_to_disk, file_sum, nothing, pack, unpacked_sum
from collector.safekeeping.proof import Proof, prove, take_copy
from collector.safekeeping.rotation import Rotation
from collector.store import StoreError
from collector.store.connect import connect_reader, store_path
from collector.store.history import status

UNDER_WAY: Final = ".under-way-"
_RAW: Final = "taken.sqlite3"
#: The copy lies there unpacked until it is proven, beside the packed one (a third of it, as readings go).
ROOM: Final = 1.5


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """A copy that was made and proven, the bytes it takes, and the older ones that were let go."""

    folder: Path
    manifest: Manifest
    packed_bytes: int
    dropped: tuple[str, ...]


class Wish(msgspec.Struct, frozen=True, kw_only=True):
    """What is to be kept: a data directory, to which folder, the rotation, and a folder of secrets if they go along."""

    data: Path
    folder: Path
    rotation: Rotation = Rotation()
    same_disk: bool = False
    secrets: Path | None = None


def keep_copy(wish: Wish, wall_ms: int, progress: Progress = nothing) -> Kept:
    """Make one copy beside those that are there; KeepingError, with older copies untouched, when it cannot be done."""
    check_place(wish)
    try:
        with _alone(wish.folder):
            _clear(wish.folder)
            return _made(wish, wall_ms, progress)
    except StoreError as error:
        raise KeepingError(f"the store cannot be copied: {error}") from error
    except OSError as error:
        raise disk_error(error, wish.folder) from error


def check_place(wish: Wish) -> None:
    """Refuse a folder that is not there, lies on the disk of the data, or has no room; a folder is never made here.

    A mount point whose disk is missing is a folder on the wrong disk: so both are asked.
    """
    folder = wish.folder
    if not folder.is_dir():
        raise KeepingError(f"{folder} is not there. Plug the disk in and mount it, or make the folder first.")
    store = store_path(wish.data)
    if not store.exists():
        raise KeepingError(f"{store} does not exist: there is nothing to keep. Name the data directory with --data.")
    if not wish.same_disk and folder.stat().st_dev == wish.data.stat().st_dev:
        raise KeepingError(
            f"{folder} is on the same disk as {wish.data}: both would be lost together. Is the other disk mounted? "
            "To keep copies on this one all the same, say --same-disk."
        )
    need, free = int(store.stat().st_size * ROOM), shutil.disk_usage(folder).free
    if free < need:
        raise KeepingError(
            f"{folder} has {free // 2**20} MiB free, the copy may need {need // 2**20} MiB meanwhile. Remove old "
            "copies there by hand, keep fewer (--daily, --weekly, --monthly), or use a larger disk."
        )


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    with (folder / ".sieveward-lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise KeepingError(f"another copy into {folder} is under way. Wait until it is done.") from None
        yield


def _clear(folder: Path) -> None:
    """Remove what a copy that was broken off has left."""
    for left in folder.glob(f"{UNDER_WAY}*"):
        shutil.rmtree(left)


def _made(wish: Wish, wall_ms: int, progress: Progress) -> Kept:
    work = wish.folder / f"{UNDER_WAY}{os.getpid()}"
    work.mkdir(mode=0o700)
    try:
        manifest = _filled(work, wish, wall_ms, progress)
        final = wish.folder / manifest.copy
        if final.exists():
            raise KeepingError(f"{final} is there already. Wait a second, and look at the machine's clock.")
        bring_to_disk(work)
        packed = sum(file.stat().st_size for file in work.iterdir())
        work.rename(final)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    bring_to_disk(wish.folder)
    dropped = _dropped(wish, manifest)
    return Kept(folder=final, manifest=manifest, packed_bytes=packed, dropped=dropped)


def _filled(work: Path, wish: Wish, wall_ms: int, progress: Progress) -> Manifest:
    raw, packed = work / _RAW, work / STORE
    head = take_copy(store_path(wish.data), raw, progress)
    proof = prove(raw, head)
    digest = pack(raw, packed)
    if unpacked_sum(packed) != digest:
        raise KeepingError(f"{packed} does not hold what was written to it. The disk is failing: use another one.")
    size = raw.stat().st_size
    raw.unlink()
    _put_beside(work, wish)
    sums = {file.name: file_sum(file) for file in work.iterdir()}
    manifest = _manifest(proof, wall_ms, size, digest, sums)
    write_manifest(work, manifest)
    return manifest


def _manifest(proof: Proof, wall_ms: int, size: int, digest: str, sums: dict[str, str]) -> Manifest:
    made = iso_utc(wall_ms)
    stamp = made[:19].replace("-", "").replace(":", "")
    return Manifest(
        copy=f"sieveward-{proof.facility}-{stamp}Z", facility=proof.facility, made_ms=wall_ms, made=made,
        store_bytes=size, store_sum=digest, head_seq=proof.head_seq, head_hash=proof.head_hash, units=proof.units,
        readings=proof.readings, schema=proof.schema, sums=sums,
    )  # fmt: skip


def _put_beside(work: Path, wish: Wish) -> None:
    """The site file as the collector has it, and the secrets when they were asked for."""
    with closing(connect_reader(store_path(wish.data))) as conn:
        text = str((status(conn, "site") or {}).get("text", ""))
    if text:
        (work / SITE).write_text(text, encoding="utf-8")
    if wish.secrets is not None:
        handle = os.open(work / SECRETS, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file, tarfile.open(fileobj=file, mode="w") as tar:
            tar.add(wish.secrets, arcname=".")


def _dropped(wish: Wish, manifest: Manifest) -> tuple[str, ...]:
    """Let older copies go; what cannot be removed stays, since the new copy is good all the same."""
    made_ms = {one.copy: one.made_ms for _, one in copies_in(wish.folder, manifest.facility)}
    names = wish.rotation.to_drop(made_ms, manifest.copy)
    for name in names:
        (wish.folder / name / NAME).unlink(missing_ok=True)  # first, so that what is half removed is no copy
        shutil.rmtree(wish.folder / name, ignore_errors=True)
    return tuple(names)
