"""Writing files that others must not read, whole or not at all."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from collector.doors.register import KeysError

SECRET, PUBLIC = 0o600, 0o644


def make_folder(path: Path) -> None:
    """The folder, for its owner only; KeysError when it cannot be made."""
    try:
        path.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise KeysError(f"{path}: cannot be made: {error.strerror}") from error


def write_file(path: Path, content: bytes | str, mode: int = SECRET) -> None:
    """Write a file through a new one beside it, readable from the first byte by whom `mode` says."""
    data = content.encode() if isinstance(content, str) else content
    fresh = path.with_name(f".{path.name}.new")
    try:
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError as error:
        raise KeysError(f"{path}: cannot be written: {error.strerror}") from error


def give_to(user: str, folder: Path) -> None:
    """Make a folder and what is in it a user's; nothing happens for another user than root, who may not."""
    if not user or os.geteuid() != 0:
        return
    try:
        for path in (folder, *folder.iterdir()):
            shutil.chown(path, user)
    except LookupError as error:
        raise KeysError(f"no user '{user}' is on this machine: install the broker first, or name another") from error
