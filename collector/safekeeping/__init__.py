"""Safe copies of the store: made while it is in use, proven, kept elsewhere, put back ("backup" means oxygen here)."""

from collector.safekeeping.errors import KeepingError
from collector.safekeeping.keep import Kept, Wish, keep_copy
from collector.safekeeping.manifest import Manifest, copies_in, read_manifest
from collector.safekeeping.restore import Restored, prove_copy, restore_copy
from collector.safekeeping.rotation import Rotation

__all__ = [
    "KeepingError", "Kept", "Manifest", "Restored", "Rotation", "Wish", "copies_in", "keep_copy", "prove_copy",
    "read_manifest", "restore_copy",
]  # fmt: skip
