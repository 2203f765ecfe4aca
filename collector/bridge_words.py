"""What bridges say of themselves, kept with their links in the status documents `bridge:<id>`, and what to write down.

Rules of this file: a document is read and written in the transaction of what it came from, so that nothing is told
twice: a bridge's retained word comes again at every connect. `at_ms` is when the link went to `state`; `word` is what
the bridge said last, at `word_ms`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

import msgspec

from collector.bridge.word import Word
from collector.intake.admit import Admitted
from collector.rules.entries import BRIDGE_DROPPED, JournalEntry
from collector.store import Store

KEY: Final = "bridge:"


def entries_of(words: Iterable[tuple[str, Word]], store: Store, now_ms: int) -> list[JournalEntry]:
    """What is to be written down of bridges that had to drop readings since they were last heard."""
    known: dict[str, int] = {}
    found = []
    for bridge, word in words:
        before = known.get(bridge)
        if before is None:
            before = int((store.status(KEY + bridge) or {}).get("word", {}).get("dropped", 0))
        more = word.dropped - before if word.dropped >= before else word.dropped  # fewer: a new spool counts anew
        known[bridge] = word.dropped
        if more:
            body = {"bridge": bridge, "readings": more, "ever": word.dropped, "said": word.said, "oldest": word.oldest}
            found.append(JournalEntry(at_ms=now_ms, kind=BRIDGE_DROPPED, origin="collector", body=body))
    return found


def save(admitted: Admitted, store: Store, now_ms: int) -> None:
    """Put links and words into the bridges' documents, inside the transaction."""
    news: dict[str, dict[str, Any]] = {}
    for bridge, online in admitted.links:
        news.setdefault(bridge, {}).update(state="online" if online else "offline", at_ms=now_ms)
    for bridge, word in admitted.words:
        news.setdefault(bridge, {}).update(word=msgspec.to_builtins(word), word_ms=now_ms)
    for bridge, new in news.items():
        store.set_status(KEY + bridge, (store.status(KEY + bridge) or {}) | new)
