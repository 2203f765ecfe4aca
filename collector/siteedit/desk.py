"""Answers what waits of the site file, and takes rules and alarms over to the site as it is then.

Rules of this file: the file is changed first, then its answer, the status document `site` and all that follows for
alarms go into the store in one transaction. A collector that dies in between reads the new file, finds the row still
waiting, and answers it: the change is there already.
"""

from __future__ import annotations

from typing import Final

from collector.followed import Followed
from collector.site import Site
from collector.siteedit.keeper import SiteKeeper
from collector.store import Store

SITE: Final = "site"


class SiteDesk:
    """One collector's desk; `followed` is put in step with the site after each change."""

    def __init__(self, keeper: SiteKeeper, followed: Followed, store: Store) -> None:
        self._keeper, self._followed, self._store = keeper, followed, store

    def take_up(self, now_ms: int, wall_ms: int) -> Site | None:
        """Answer everything that waits; the site as it is now where it changed. StoreError: the rest waits on."""
        found: Site | None = None
        followed = self._followed
        for seq, body in list(followed.wanted.waiting.items()):
            heard = followed.was_heard(str(body.get("unit", "")))
            answer = self._keeper.answer(seq, body, now_ms, wall_ms, heard=heard)
            followed.sound = False
            with self._store.transaction():
                if answer.site is not None:
                    self._store.set_status(SITE, self._keeper.document)
                    followed.settle(answer.site)
                followed.write([answer.entry, *(followed.orphans(now_ms) if answer.site else [])], wall_ms)
            followed.sound = True
            found = answer.site or found
        return found
