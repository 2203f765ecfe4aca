"""A site's backup in step with what the store holds: folds what people enter, judges each ward once a minute.

Rules of this file: no IO and no clock. Everything it knows is one document, stored in the transaction of what it came
from; a document that does not fit is left, and then no cylinder counts as read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

import msgspec

from collector.backup.card import Card, cards
from collector.backup.gauge import entered_text
from collector.backup.known import Known, WardBackup, Watching
from collector.backup.ward import cylinders_of, ward_backup
from collector.backup.watch import NAME, follow
from collector.rules.alarms import AlarmBoard
from collector.rules.entries import CYLINDER_READ, JournalEntry, JournalRow, entry_of
from collector.rules.limits import MINUTE
from collector.rules.unitrow import UnitRow
from collector.site import UNASSIGNED, Site, Ward

#: The status document's name.
DOCUMENT: Final = "backup"
#: How often a sensor's word is written down.
SENSOR_MS: Final = 15 * MINUTE
_NO_WARD: Final = Ward(id=UNASSIGNED)


class BackupWatch:
    """`known` is what is stored; `touched` when it must be stored again, `told_anew` wards whose cards changed."""

    def __init__(self, site: Site, document: dict[str, Any] | None) -> None:
        self._site = site
        self._entered: set[str] = set()  # wards of which somebody has entered something
        self.touched = False
        self.told_anew: set[str] = set()
        try:
            self.known = msgspec.convert(document, Known) if document else Known()
        except msgspec.ValidationError:
            self.known = Known()

    def document(self) -> dict[str, Any]:
        """What is to be stored."""
        self.touched = False
        return dict(msgspec.to_builtins(self.known))

    def fold(self, row: JournalRow) -> None:
        """Take in a journal row: a gauge that was read, a unit that was proven."""
        name = self.known.fold(row)
        if not name:
            return
        self.touched = True
        self._entered |= {c.ward for c in self._site.cylinders if c.id == name}
        if self._site.unit(name):
            self._entered.add(self._site.ward_of(name).id)

    def gauges(self, read: Iterable[tuple[str, float, int]]) -> list[JournalEntry]:
        """Rows of what sensors say (cylinder, kPa, ms): one a cylinder and SENSOR_MS, the next one sooner that calls
        for a change of cylinder, so that the journal stays one that people can read.
        """
        newest: dict[str, tuple[float, int]] = {}
        for cylinder, kpa, time_ms in read:
            if cylinder not in newest or newest[cylinder][1] <= time_ms:
                newest[cylinder] = kpa, time_ms
        known, cylinders = self.known.read, {c.id: c for c in self._site.cylinders}
        return [
            JournalEntry(at_ms=at_ms, kind=CYLINDER_READ, ward=cylinders[name].ward, origin="sensor",
                         body={"cylinder": name, "kpa": round(kpa, 1), "entered": entered_text(round(kpa), "kPa")})
            for name, (kpa, at_ms) in newest.items()
            if (last := known.get(name)) is None
            or at_ms - last.at_ms >= SENSOR_MS
            or (at_ms > last.at_ms and kpa < cylinders[name].change_kpa <= last.kpa)
        ]  # fmt: skip

    def judge(
        self, now_ms: int, rows_of: Callable[[str], Iterable[UnitRow]], board: AlarmBoard
    ) -> list[JournalEntry]:  # fmt: skip
        """What is to be written down: every ward when a minute has begun, else those somebody entered something of."""
        minute_ms = now_ms - now_ms % MINUTE
        whole = minute_ms != self.known.judged_ms
        if not whole and not self._entered:
            return []
        news = []
        for ward in self._places():
            if whole or ward.id in self._entered:
                news += self._judge(ward, minute_ms if whole else now_ms, rows_of, board)
        self.known.judged_ms = minute_ms
        self._entered.clear()
        self.touched = True
        return news

    def _places(self) -> list[Ward]:
        """Every ward, and the place of what stands in none."""
        places = list(self._site.places())
        homeless = not any(ward.id == _NO_WARD.id for ward in places) and cylinders_of(self._site, "")
        return [*places, _NO_WARD] if homeless else places

    def _judge(
        self, ward: Ward, at_ms: int, rows_of: Callable[[str], Iterable[UnitRow]], board: AlarmBoard
    ) -> list[JournalEntry]:  # fmt: skip
        known = self.known
        alarms = [alarm for alarm in board.alarms.values() if alarm.active and alarm.ward == ward.id]
        before = known.wards.get(ward.id)
        backup = ward_backup(self._site, ward, known, rows_of(ward.id), alarms, board.removed_units, at_ms)
        watching = known.watching.setdefault(ward.id, Watching())
        standing = board.alarms.get(("", ward.id, NAME))  # the journal says what was told, whatever became of the rest
        watching.why = str(standing.evidence.get("why", "")) if standing is not None and standing.active else ""
        event = follow(backup, watching, at_ms, at_once=ward.id in self._entered)
        known.wards[ward.id] = msgspec.structs.replace(backup, why=watching.why)
        if before is None or alarms:
            self.told_anew.add(ward.id)
        return [] if event is None else [entry_of(event)]

    def cards(self, ward: str, board: AlarmBoard, now_ms: int) -> dict[tuple[str, str, str], Card]:
        """The changeover cards of a ward's alarms, by alarm."""
        return cards(self._site, self.known.wards, ward, board.speaking(ward), now_ms)

    def of(self, ward: str) -> WardBackup | None:
        """A ward's backup as it was last judged; None before that."""
        return self.known.wards.get(ward)
