"""The rules and the alarm board of a site, in step with what the store holds.

Rules of this file: what rules and board know is written in the transaction of what it came from. In the midst of a
batch they are ahead of the store (`sound` is False); if it then fails, load() takes them back to what is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from collector import backup_watch, log
from collector.backup_watch import BackupWatch
from collector.dues import STATUS as DUES
from collector.dues import Dues, load_dues
from collector.notify.waytest import DOCUMENT as TEST
from collector.notify.waytest import WayTests
from collector.rules import entries
from collector.rules.alarms import Alarm, AlarmBoard
from collector.rules.engine import RulesEngine
from collector.rules.entries import JournalEntry, JournalRow, entry_of
from collector.rules.events import CLEARED, Event, Evidence
from collector.rules.unitrow import UnitRow
from collector.site import Site
from collector.siteedit.wanted import DOCUMENT as WANTED
from collector.siteedit.wanted import Wanted
from collector.store import Store


class Followed:
    """`engine`, `board`, `backup`, `dues`; `seq`, the last journal row folded; `changed_wards` have news to hear."""

    engine: RulesEngine
    board: AlarmBoard
    backup: BackupWatch
    dues: Dues
    tests: WayTests
    wanted: Wanted
    seq: int

    def __init__(self, site: Site, store: Store) -> None:
        self._site, self._store = site, store
        self.changed_wards: set[str] = set()
        self.sound = False
        self.load()

    def settle(self, site: Site) -> None:
        """Go on with another site file, from what is stored; inside the transaction. Alarms move with their units."""
        wards = {alarm.key: alarm.ward for alarm in self.board.alarms.values()}
        self._site = site
        self.load()
        moved = [alarm for alarm in self.board.alarms.values() if wards.get(alarm.key, alarm.ward) != alarm.ward]
        self._store.save_alarms(moved)
        self.changed_wards |= {ward.id for ward in site.places()}  # whose units, spares or flows may be others

    def was_heard(self, unit: str) -> bool:
        """Whether a unit has ever sent a reading."""
        return any(row.last_ms is not None for row in self.engine.rows([unit] if self._site.unit(unit) else []))

    def load(self) -> None:
        """Take rules and alarms as they are stored; on a StoreError nothing has changed, and `sound` stays False."""
        engine = RulesEngine(self._site)
        engine.restore(self._store.load_units(), self._store.load_estimates())
        links = self._store.statuses("bridge:")
        engine.know_links(
            {
                key.partition(":")[2]: (link["state"] == "online", link["at_ms"])
                for key, link in links.items()
                if "state" in link
            }
        )
        removed = (self._store.status("out_of_service") or {}).get("units", ())
        self._unused = {unit.id for unit in self._site.units if unit.in_service is False}
        alarms = self._store.load_alarms()
        for alarm in alarms:  # a unit takes its alarms along to another ward
            if self._site.unit(alarm.unit):
                alarm.ward = self._site.ward_of(alarm.unit).id
        board = AlarmBoard(alarms, self._unused | set(removed))
        seq = int((self._store.status("board") or {}).get("seq", 0))
        dues = load_dues(self._site, self._store, seq)
        self.backup = BackupWatch(self._site, self._store.status(backup_watch.DOCUMENT))
        self.tests = WayTests(self._store.status(TEST))
        self.wanted = Wanted(self._store.status(WANTED))
        self.engine, self.board, self.dues, self.seq, self.sound = engine, board, dues, seq, True

    def orphans(self, now_ms: int) -> list[JournalEntry]:
        """Entries that clear what nothing else ever would: alarms of units that are gone, of wards that units left."""
        wards = {ward.id for ward in self._site.places()}
        gone = [
            alarm for alarm in self.board.alarms.values()
            if alarm.active and not (
                self._site.unit(alarm.unit) if alarm.unit
                else alarm.ward in wards and self.engine.ward_stands(alarm.ward, alarm.condition)
            )
        ]  # fmt: skip
        evidence: Evidence = {"why": "the site file no longer has it there"}
        return [
            entry_of(Event(time_ms=now_ms, unit=alarm.unit, ward=alarm.ward, event=CLEARED, condition=alarm.condition,
                           priority=alarm.priority, audience=alarm.audience, cause=alarm.cause, evidence=evidence))
            for alarm in gone
        ]  # fmt: skip

    def behind(self) -> bool:
        """Whether somebody else has written to the journal."""
        return bool(self._store.journal_after(self.seq, 1))

    def ward_rows(self, ward: str) -> Iterator[UnitRow]:
        """The rows of a ward's units."""
        return self.engine.rows(unit.id for unit in self._site.units_of(ward))

    def judge_backup(self, now_ms: int) -> list[JournalEntry]:
        """What there is to write down of the wards' backup at now_ms; wards whose cards may be others hear anew."""
        news = self.backup.judge(now_ms, self.ward_rows, self.board)
        self.changed_wards |= self.backup.told_anew
        self.backup.told_anew.clear()
        return news

    def save_units(self) -> None:
        """Store the rows and estimates of units that changed, and capacity by the hour; inside the transaction."""
        engine = self.engine
        if engine.touched:
            self._store.save_units(engine.rows(engine.touched))
        if engine.estimates_touched:
            self._store.save_estimates(engine.estimates(engine.estimates_touched))
        if points := engine.take_capacity_points():
            self._store.add_capacity(points)

    def write(self, news: list[JournalEntry], recorded_ms: int) -> list[JournalRow]:
        """Fold what others wrote, then write and fold our own, inside the transaction; returns all of it."""
        rows: list[JournalRow] = []
        while more := self._store.journal_after(rows[-1].seq if rows else self.seq):
            rows += more
        rows += self._store.append_journal(news, recorded_ms)
        if rows:
            self._store.save_alarms(self._fold(rows))
            self.seq = rows[-1].seq
            self._store.set_status("board", {"seq": self.seq})
        self.dues.fold(rows)
        if self.dues.unsaved:
            self._store.set_status(DUES, self.dues.document())
            self.dues.unsaved = False
        if self.tests.unsaved:
            self._store.set_status(TEST, self.tests.document())
            self.tests.unsaved = False
        if self.wanted.unsaved:
            self._store.set_status(WANTED, self.wanted.document())
            self.wanted.unsaved = False
        if self.backup.touched:
            self._store.set_status(backup_watch.DOCUMENT, self.backup.document())
        return rows

    def _fold(self, rows: Iterable[JournalRow]) -> list[Alarm]:
        changed: dict[tuple[str, str, str], Alarm] = {}
        service, proven = False, set()
        for row in rows:
            self.backup.fold(row)
            self.wanted.fold(row)
            self.changed_wards |= self.tests.fold(row)
            for alarm in self.board.fold(row):
                changed[alarm.key] = alarm
                self.changed_wards.add(alarm.ward)
            if row.kind == entries.PURITY_PROOF and self.engine.note_proof(row.unit, row.body, row.at_ms):
                proven.add(row.unit)
            elif row.kind in (entries.OUT_OF_SERVICE, entries.RETURN_TO_SERVICE):
                service = True
                if self._site.unit(row.unit):
                    self.changed_wards.add(self._site.ward_of(row.unit).id)
        if proven:
            self._store.save_units(self.engine.rows(proven))
        if service:  # without the site file's own, so that a unit put back there is back
            self._store.set_status("out_of_service", {"units": sorted(self.board.removed_units - self._unused)})
        return list(changed.values())


def log_conditions(rows: Iterable[JournalRow]) -> None:
    """Write a line of the log for each condition among rows of the journal."""
    for row in rows:
        if row.kind == entries.CONDITION:
            log.say("condition", event=row.body["event"], condition=row.condition, unit=row.unit, ward=row.ward)
