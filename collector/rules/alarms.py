"""Alarm state as a fold over the journal: what the rules raised and cleared, and what people did about it."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from collector.rules import entries as kinds
from collector.rules.catalogue import place_of
from collector.rules.entries import JournalEntry, JournalRow
from collector.rules.events import CLEARED, PRIORITIES, RAISED, Priority, alarm_key
from collector.rules.lifecycle import HELD, RESUMED, State, Step, next_state


class Alarm(msgspec.Struct, kw_only=True):
    """One alarm as it stands; times in ms since 1970 UTC, None for "not yet".

    `active` says whether the condition is there, whatever the state. event_seq is the journal row of its last event.
    """

    unit: str
    ward: str
    condition: str
    state: str = State.NORMAL
    active: bool = False
    priority: Priority = "low"
    audience: tuple[str, ...] = ()
    cause: str = "unknown"
    action: str = ""
    evidence: dict[str, object] = {}
    forecast: dict[str, object] | None = None
    raised_ms: int | None = None
    changed_ms: int | None = None
    cleared_ms: int | None = None
    acked_ms: int | None = None
    acked_by: str = ""
    acked_role: str = ""
    shelved_until_ms: int | None = None
    event_seq: int = 0
    heard_seq: int = 0  # the journal row that people must have seen: its last raising, or rise in priority
    event_ms: int | None = None  # the moment that evidence and forecast are of
    heard_ms: int | None = None  # the moment of heard_seq, or when it came back from being put aside, if later
    resumed: int = 0  # how often it came back from being put aside since heard_seq

    @property
    def key(self) -> tuple[str, str, str]:
        """What identifies it: (unit, ward for a ward alarm, condition)."""
        return alarm_key(self.unit, self.ward, self.condition)

    @property
    def held(self) -> bool:
        """Whether it is shelved, suppressed or out of service."""
        return self.state in HELD

    @property
    def speaks(self) -> bool:
        """Whether people should see it now: the condition is there and nothing holds it back."""
        return self.active and not self.held


def urgency(alarm: Alarm) -> tuple[int, int, bool, int, tuple[str, str, str]]:
    """Sorts what people must hear of first.

    By priority, then no oxygen before too little, then what is before what is to come, then the oldest.
    """
    rank = -PRIORITIES.index(alarm.priority), place_of(alarm.condition), alarm.condition == "shutdown-expected"
    return (*rank, alarm.raised_ms or 0, alarm.key)


class AlarmBoard:
    """Every alarm of a facility; pure: it only folds rows that the journal already holds."""

    def __init__(self, alarms: Iterable[Alarm] = (), removed_units: Iterable[str] = ()) -> None:
        self.alarms: dict[tuple[str, str, str], Alarm] = {alarm.key: alarm for alarm in alarms}
        self.removed_units = set(removed_units)
        self.refused = 0  # steps that the table does not allow: counted, never applied

    def fold(self, row: JournalRow) -> list[Alarm]:
        """Apply one journal row and return the alarms it changed."""
        if row.kind == kinds.CONDITION:
            return [self._fold_event(row)]
        if row.kind in (kinds.OUT_OF_SERVICE, kinds.RETURN_TO_SERVICE):
            return self._fold_service(row)
        if row.kind in _STEPS:
            alarm = self.alarms.get(alarm_key(row.unit, row.ward, row.condition))
            if alarm is not None and self._may(alarm, row) and self._step(alarm, _STEPS[row.kind], row.at_ms):
                self._note_person(alarm, row)
                return [alarm]
        return []

    def expire(self, now_ms: int) -> list[JournalEntry]:
        """Entries that end every shelf whose time has come."""
        return [
            JournalEntry(at_ms=alarm.shelved_until_ms, kind=kinds.UNSHELVE, unit=alarm.unit, ward=alarm.ward,
                         condition=alarm.condition, origin="collector", body={"why": "its time has come"})
            for alarm in self.alarms.values()
            if alarm.state == State.SHELVED and alarm.shelved_until_ms is not None and alarm.shelved_until_ms <= now_ms
        ]  # fmt: skip

    def speaking(self, ward: str | None = None, audience: str | None = None) -> list[Alarm]:
        """Alarms that people should see now, in the order of `urgency`."""
        found = [
            alarm
            for alarm in self.alarms.values()
            if alarm.speaks and ward in (None, alarm.ward) and (audience is None or audience in alarm.audience)
        ]
        return sorted(found, key=urgency)

    def _fold_event(self, row: JournalRow) -> Alarm:
        body = row.body
        key = alarm_key(row.unit, row.ward, row.condition)
        alarm = self.alarms.get(key)
        if alarm is None:
            alarm = self.alarms[key] = Alarm(unit=row.unit, ward=row.ward, condition=row.condition)
            if row.unit in self.removed_units:
                alarm.state = State.OUT_OF_SERVICE
        risen = PRIORITIES.index(body["priority"]) > PRIORITIES.index(alarm.priority)
        alarm.ward, alarm.priority, alarm.event_seq = row.ward, body["priority"], row.seq
        alarm.audience, alarm.cause, alarm.action = tuple(body["audience"]), body["cause"], body["action"]
        alarm.evidence, alarm.forecast = body.get("evidence", {}), body.get("forecast")
        alarm.changed_ms = alarm.event_ms = row.at_ms
        if body["event"] == CLEARED:
            alarm.active, alarm.cleared_ms = False, row.at_ms
            self._step(alarm, Step.CLEAR, row.at_ms)
        elif body["event"] == RAISED:
            alarm.active, alarm.raised_ms, alarm.cleared_ms = True, row.at_ms, None
            self._hear(alarm, row)
            alarm.acked_ms, alarm.acked_by, alarm.acked_role = None, "", ""
            self._step(alarm, Step.RAISE, row.at_ms)
        elif risen:
            self._hear(alarm, row)
            if alarm.state == State.ACKNOWLEDGED:
                self._step(alarm, Step.RAISE, row.at_ms)
        return alarm

    def _fold_service(self, row: JournalRow) -> list[Alarm]:
        removing = row.kind == kinds.OUT_OF_SERVICE
        (self.removed_units.add if removing else self.removed_units.discard)(row.unit)
        step = Step.REMOVE if removing else Step.RESTORE
        return [a for a in self.alarms.values() if a.unit == row.unit and self._step(a, step, row.at_ms)]

    def _step(self, alarm: Alarm, step: Step, at_ms: int) -> bool:
        state = next_state(State(alarm.state), step, active=alarm.active)
        if state is None:
            # A condition that comes or goes while an alarm is held changes `active` only: that is not a refusal.
            self.refused += not (alarm.held and step in (Step.RAISE, Step.CLEAR))
            return False
        if (State(alarm.state), step) in RESUMED and state == State.UNACKNOWLEDGED:
            alarm.heard_ms, alarm.resumed = at_ms, alarm.resumed + 1
        alarm.state, alarm.changed_ms = state, at_ms
        if state != State.SHELVED:
            alarm.shelved_until_ms = None
        return True

    def _may(self, alarm: Alarm, row: JournalRow) -> bool:
        """Nobody acknowledges what they have not seen, and nothing is put aside without an end."""
        seen = row.body.get("event_seq")
        unseen = row.kind == kinds.ACKNOWLEDGE and isinstance(seen, int) and seen < alarm.heard_seq
        endless = row.kind == kinds.SHELVE and not (row.body.get("until_ms") or 0) > row.at_ms
        self.refused += unseen or endless
        return not (unseen or endless)

    @staticmethod
    def _hear(alarm: Alarm, row: JournalRow) -> None:
        alarm.heard_seq, alarm.heard_ms, alarm.resumed = row.seq, row.at_ms, 0

    @staticmethod
    def _note_person(alarm: Alarm, row: JournalRow) -> None:
        if row.kind == kinds.ACKNOWLEDGE:
            alarm.acked_ms, alarm.acked_by, alarm.acked_role = row.at_ms, row.who, row.role
        elif row.kind == kinds.SHELVE:
            alarm.shelved_until_ms = row.body.get("until_ms")


_STEPS = {kinds.ACKNOWLEDGE: Step.ACKNOWLEDGE, kinds.SHELVE: Step.SHELVE, kinds.UNSHELVE: Step.UNSHELVE}
