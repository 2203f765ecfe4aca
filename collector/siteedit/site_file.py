"""The site file on disk: replaced whole or not at all, and what it said before is kept beside it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from collector.siteedit.edit import NotEditable

#: Earlier texts that are kept; older ones are deleted.
KEPT: Final = 20


def current_text(path: Path, known: str) -> str:
    """The file as it is; NotEditable when it is not what the collector read: no change by hand is lost."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise NotEditable(f"the site file {path} cannot be read: {error}") from error
    if text != known:
        raise NotEditable(
            f"the site file {path} was changed by hand since the collector read it: restart the collector, so that it "
            "takes that up, and ask once more"
        )
    return text


def replace(path: Path, old: str, new: str, stamp: str) -> None:
    """Write `new` in the file's place and keep `old` as `NAME.<stamp>.bak`; NotEditable, and the file is as it was.

    `stamp` is a time that may stand in a file's name, such as 20261005T083000Z.
    """
    real = path.resolve()  # a link stays a link
    temp = real.with_name(f".{real.name}.new")
    try:
        mode = real.stat().st_mode & 0o777
        _write(real.with_name(f"{real.name}.{stamp}.bak"), old, mode)
        _write(temp, new, mode)
        temp.replace(real)
        _sync_folder(real.parent)
        _drop_old(real)
    except OSError as error:
        temp.unlink(missing_ok=True)
        raise NotEditable(
            f"the collector may not write the site file {path} ({error.strerror}): let it write file and folder "
            "(INSTALL.md, 'Changes from the screen'), or write the change in by hand"
        ) from error


def _write(path: Path, text: str, mode: int) -> None:
    with path.open("w", encoding="utf-8", newline="") as out:
        out.write(text)
        out.flush()
        os.fchmod(out.fileno(), mode)
        os.fsync(out.fileno())


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _drop_old(real: Path) -> None:
    for old in sorted(real.parent.glob(f"{real.name}.*.bak"))[:-KEPT]:
        old.unlink(missing_ok=True)
