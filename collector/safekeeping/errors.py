"""What can go wrong with safe copies, in words a person can act on."""

from __future__ import annotations

import errno
from pathlib import Path


class KeepingError(Exception):
    """No copy was made or put back; what there was before is untouched. The text says the way out."""


def disk_error(error: OSError, folder: Path) -> KeepingError:
    """The words for what the system said about a folder."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return KeepingError(
            f"{folder} has no room for the copy ({error.strerror}). Nothing was thrown away for it: remove old copies "
            "there by hand, keep fewer (--daily, --weekly, --monthly), or use a larger disk."
        )
    return KeepingError(
        f"{folder} cannot be used ({error.strerror or error}). Look whether the disk is plugged in, mounted for "
        "writing and healthy."
    )
