"""What a safe copy says of itself: a folder with a manifest, which is written last, so that half a copy is none."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import msgspec

from collector.safekeeping.errors import KeepingError
from collector.safekeeping.packed import SUFFIX, file_sum

NAME: Final = "manifest.json"
SUMS: Final = "SHA256SUMS"  # the same sums once more, for `sha256sum -c`
STORE: Final = f"store.sqlite3{SUFFIX}"
SITE: Final = "site.toml"
SECRETS: Final = "secrets.tar"
VERSION: Final = 1


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """A copy: of whom, when (ms since 1970 and RFC 3339), what it holds, and the SHA-256 of every file in it.

    store_bytes and store_sum are those of the unpacked store. head_seq and head_hash are its journal's last row.
    """

    v: int = VERSION
    copy: str
    facility: str
    made_ms: int
    made: str
    store_bytes: int
    store_sum: str
    head_seq: int
    head_hash: str
    units: int
    readings: int
    schema: tuple[str, ...]
    sums: dict[str, str]


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Put the manifest into a folder, and bring it to the disk."""
    lines = "".join(f"{digest}  {name}\n" for name, digest in sorted(manifest.sums.items()))
    for name, text in ((SUMS, lines.encode()), (NAME, msgspec.json.format(msgspec.json.encode(manifest), indent=1))):
        with (folder / name).open("wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())


def read_manifest(folder: Path) -> Manifest:
    """The manifest of a copy; KeepingError when there is none or it cannot be read."""
    try:
        found = msgspec.json.decode((folder / NAME).read_bytes(), type=Manifest)
    except FileNotFoundError:
        raise KeepingError(
            f"{folder} is no safe copy: it has no {NAME}. Name one of the folders that `keep list` shows."
        ) from None
    except (OSError, msgspec.MsgspecError) as error:
        raise KeepingError(f"{folder / NAME} cannot be read ({error}). Use another copy.") from error
    if found.v != VERSION:
        raise KeepingError(f"{folder} was made by a newer version (manifest {found.v}). Use that version.")
    if strange := [name for name in found.sums if Path(name).name != name]:
        raise KeepingError(f"{folder / NAME} names a file outside its folder ({strange[0]!r}). Use another copy.")
    return found


def check_sums(folder: Path, manifest: Manifest) -> None:
    """Compare every file with its sum; KeepingError with the first that is missing or differs."""
    for name, digest in manifest.sums.items():
        try:
            found = file_sum(folder / name)
        except OSError as error:
            raise KeepingError(f"{folder / name} cannot be read ({error.strerror}). Use another copy.") from error
        if found != digest:
            raise KeepingError(f"{folder / name} is damaged: its SHA-256 is not the manifest's. Use another copy.")


def copies_in(folder: Path, facility: str | None = None) -> list[tuple[Path, Manifest]]:
    """The whole copies in a folder, newest first, of one facility or of any; what cannot be read is left out."""
    found = []
    for one in folder.iterdir() if folder.is_dir() else ():
        try:
            manifest = read_manifest(one)
        except KeepingError:
            continue
        if one.name == manifest.copy and facility in (None, manifest.facility):
            found.append((one, manifest))
    return sorted(found, key=lambda pair: pair[1].made_ms, reverse=True)
