"""The fixtures of safe copies."""

from tests.collector.safekeeping.copies import data, folder, other_disk

__all__ = ["data", "folder", "other_disk"]
