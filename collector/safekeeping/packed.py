"""Files packed as Zstandard frames (RFC 8878), which any `zstd` program reads, and their SHA-256 sums."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, Final

from collector.safekeeping.errors import KeepingError

SUFFIX: Final = ".zst"
_CODEC: Final = "zstd"
CHUNK: Final = 1024 * 1024

Progress = Callable[[int], None]


def nothing(_done: int) -> None:
    """Progress that nobody looks at."""


def pack(source: Path, target: Path, progress: Progress = nothing) -> str:
    """Pack a file and bring it to the disk; returns the SHA-256 of what was packed."""
    import pyarrow as pa  # many megabytes: only for those who make or open a safe copy

    digest, done = hashlib.sha256(), 0
    with source.open("rb") as file, pa.CompressedOutputStream(str(target), _CODEC) as out:
        for chunk in _chunks(file):
            digest.update(chunk)
            out.write(chunk)
            done += len(chunk)
            progress(done)
    with target.open("rb+") as packed:
        os.fsync(packed.fileno())
    return digest.hexdigest()


def unpack(source: Path, target: Path, progress: Progress = nothing) -> str:
    """Unpack a file and bring it to the disk; returns the SHA-256 of what came out; KeepingError when it is damaged."""
    with target.open("xb") as out:
        digest = _unpacked(source, out.write, progress)
        out.flush()
        os.fsync(out.fileno())
    return digest


def unpacked_sum(source: Path, progress: Progress = nothing) -> str:
    """The SHA-256 of what a packed file holds, without writing it anywhere."""
    return _unpacked(source, lambda _chunk: 0, progress)


def _unpacked(source: Path, take: Callable[[bytes], int], progress: Progress) -> str:
    import pyarrow as pa  # many megabytes: only for those who make or open a safe copy

    digest, done = hashlib.sha256(), 0
    try:
        with pa.CompressedInputStream(str(source), _CODEC) as file:
            while chunk := file.read(CHUNK):
                digest.update(chunk)
                take(chunk)
                done += len(chunk)
                progress(done)
    except OSError as error:
        if error.errno is not None:
            raise
        raise KeepingError(f"{source} is damaged: it cannot be unpacked ({error}). Use another copy.") from error
    return digest.hexdigest()


def file_sum(path: Path) -> str:
    """The SHA-256 of a file as it lies."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        for chunk in _chunks(file):
            digest.update(chunk)
    return digest.hexdigest()


def bring_to_disk(folder: Path) -> None:
    """Let a folder's own entries survive a power cut."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _chunks(file: BinaryIO) -> Iterator[bytes]:
    while chunk := file.read(CHUNK):
        yield chunk
