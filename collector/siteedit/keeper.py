"""The one writer of the site file: makes what was asked for, or says why not. It touches neither rules nor store."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

from collector.rules.entries import SITE_CHANGED, JournalEntry
from collector.site import Site, parse_site
from collector.siteedit import asked
from collector.siteedit.edit import NotEditable, edited
from collector.siteedit.site_file import current_text, replace

MADE: Final = "made"
REFUSED: Final = "refused"
_NO_FILE: Final = "this collector was started without a site file that it could change"
_HEARD: Final = "it has been heard since: take it out of service instead, so that its record stays"


class Answer(NamedTuple):
    """What came of a change: the row to be written, and the site as it is now; None where the change was refused."""

    entry: JournalEntry
    site: Site | None


class SiteKeeper:
    """Keeps one site file; `text` is what it says."""

    def __init__(self, path: str, text: str) -> None:
        self._path = Path(path) if path else None
        self.text = text

    @property
    def document(self) -> dict[str, Any]:
        """The status document `site`."""
        return {"path": str(self._path or ""), "text": self.text}

    def answer(self, seq: int, body: Mapping[str, Any], now_ms: int, wall_ms: int, *, heard: bool) -> Answer:
        """Make what row `seq` asks for; `heard`: whether a unit that is to be removed was ever heard."""
        said = {"change": seq, "do": body.get("do", "")}
        try:
            self._make(body, wall_ms, heard=heard)
        except NotEditable as error:
            return Answer(_entry(body, now_ms, {**said, "result": REFUSED, "said": str(error)}), None)
        return Answer(_entry(body, now_ms, {**said, "result": MADE}), parse_site(self.text))

    def _make(self, body: Mapping[str, Any], wall_ms: int, *, heard: bool) -> None:
        if self._path is None:
            raise NotEditable(_NO_FILE)
        if body.get("do") == asked.REMOVE and heard:
            raise NotEditable(_HEARD)
        old = current_text(self._path, self.text)
        new = edited(old, body, str(self._path))
        if new != old:
            moment = datetime.fromtimestamp(wall_ms / 1000, UTC)
            replace(self._path, old, new, moment.strftime("%Y%m%dT%H%M%S.%fZ"))
            self.text = new


def _entry(body: Mapping[str, Any], now_ms: int, said: dict[str, Any]) -> JournalEntry:
    return JournalEntry(at_ms=now_ms, kind=SITE_CHANGED, unit=str(body.get("unit", "")),
                        ward=str(body.get("to", body.get("ward", ""))), origin="collector", body=said)  # fmt: skip
