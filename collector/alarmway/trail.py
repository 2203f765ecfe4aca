"""What arrived of one test, and where it did not; pure: it is handed what was heard and read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final, Literal

import msgspec

from collector.rules.entries import MESSAGE_FAILED, MESSAGE_SENT, JournalRow
from collector.site import Site
from collector.topics import signal_topic

State = Literal["arrived", "dead", "not-set-up"]
ARRIVED: Final = "arrived"
DEAD: Final = "dead"
NOT_SET_UP: Final = "not-set-up"

JOURNAL: Final = "journal"
SCREENS: Final = "screens' data"
DASHBOARD: Final = "dashboard"
MESSAGES: Final = "messages"
SIGNALS: Final = "signals"  # of all wards, where nobody can hear them


class Outcome(msgspec.Struct, frozen=True, kw_only=True):
    """One way: what became of the test on it, the seconds it took, and what was said."""

    way: str
    state: State
    took_s: float | None = None
    said: str = ""


def ward_way(ward: str) -> str:
    """The name of a ward's signal as a way."""
    return f"signal to {ward}"


def message_way(way: str) -> str:
    """The name of a way of messages."""
    return f"message by {way}"


class Trail:
    """Follows test `seq`; `open` are the ways on which nothing has come yet."""

    def __init__(self, site: Site, seq: int, wards: Iterable[str], ways: Iterable[str]) -> None:
        self._seq = seq
        self._topics = {signal_topic(site.facility.id, ward): ward_way(ward) for ward in wards}
        self.open = [*self._topics.values(), SCREENS, *map(message_way, ways)]
        self.found: list[Outcome] = []
        self._why: dict[str, str] = {}

    def arrived(self, way: str, took_s: float, said: str = "") -> None:
        """The test is through on a way."""
        if way in self.open:
            self.open.remove(way)
            self.found.append(Outcome(way=way, state=ARRIVED, took_s=round(took_s, 2), said=said))

    def hear(self, topic: str, payload: bytes, took_s: float) -> None:
        """A message from the broker."""
        try:
            signal = msgspec.json.decode(payload)
        except msgspec.DecodeError:
            return
        test = signal.get("test") if isinstance(signal, dict) else None
        if topic in self._topics and isinstance(test, dict) and test.get("seq") == self._seq:
            self.arrived(self._topics[topic], took_s)

    def see(self, document: Mapping[str, Any] | None, took_s: float) -> None:
        """The status document that the screens read."""
        if document and document.get("seq") == self._seq:
            self.arrived(SCREENS, took_s)

    def read(self, row: JournalRow, took_s: float) -> None:
        """A journal row written after the test's."""
        about = [item.get("about") for item in row.body.get("alarms", ()) if isinstance(item, dict)]
        if f"test-{self._seq}" not in about:
            return
        way = message_way(str(row.body.get("way", "")))
        if row.kind == MESSAGE_SENT:
            self.arrived(way, took_s, f"to {row.body.get('person', '')}")
        elif row.kind == MESSAGE_FAILED:
            self._why[way] = str(row.body.get("said", ""))

    def close(self, why: Mapping[str, str], waited_s: float) -> list[Outcome]:
        """What is still open is dead; `why` says what else is known of a way."""
        for way in self.open:
            said = self._why.get(way) or why.get(way) or f"nothing came within {waited_s:.0f} s"
            self.found.append(Outcome(way=way, state=DEAD, said=said))
        self.open = []
        return self.found
