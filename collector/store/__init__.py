"""The record: readings, what is known now, and the journal.

The back end is SQLite; what belongs to another one stands beside these modules, and nothing here is its base.
"""

from collector.store.errors import StoreError
from collector.store.history import open_reader
from collector.store.journal import JournalWriter
from collector.store.quarantine import Quarantined
from collector.store.store import Store, open_store

__all__ = ["JournalWriter", "Quarantined", "Store", "StoreError", "open_reader", "open_store"]
