"""What people do, as journal entries; `access.write` adds them to the journal.

Rules of this file: every entry says who, in which role and from where; nothing is written when a name or a needed
reason is missing. The collector folds what stands here: a screen never changes an alarm by itself.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from collector.people.acts import ORIGIN
from collector.people.rights import OVERRIDE, RIGHTS, ROLES, may
from collector.rules import entries
from collector.rules.alarms import Alarm
from collector.rules.entries import JournalEntry
from collector.service.gate import PURPOSES, REPAIR, Gate
from dashboard import words

SERVICE_ROLES: Final = RIGHTS[entries.OUT_OF_SERVICE]
#: How long an alarm may be put aside, in minutes: always with an end (ISA-18.2), a shift at most.
SHELF_MIN: Final = (15, 30, 60, 120, 240, 480, 720)
#: A high alarm is put aside for a changeover, not for a shift (common practice, no source).
SHELF_HIGH_MIN: Final = (15, 30, 60)
TEXT_MAX: Final = 200


class Refused(Exception):
    """The action is not written down; the text says what is missing."""


class Person(NamedTuple):
    """Who acts: as their account says (`signed_in`), or as they say themselves in an open simulation."""

    name: str
    role: str
    wards: tuple[str, ...] = ()
    signed_in: bool = False

    def is_offered(self, action: str, ward: str = "") -> bool:
        """Whether a screen offers them this; what is refused is refused where it is written, offered or not."""
        if not self.signed_in:
            return True
        return may(self.role, action) and (not self.wards or ward in ("", *self.wards))


def shelf_choices(alarm: Alarm) -> tuple[int, ...]:
    """For how long this alarm may be put aside, in minutes."""
    return SHELF_HIGH_MIN if alarm.priority == "high" else SHELF_MIN


def shelf_text(minutes: int) -> str:
    """How long, as a choice."""
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h"


def acknowledge(alarm: Alarm, person: Person, now_ms: int) -> JournalEntry:
    """Somebody says that they know."""
    return _entry(entries.ACKNOWLEDGE, alarm, person, now_ms, {})


def shelve(alarm: Alarm, person: Person, now_ms: int, minutes: int, reason: str) -> JournalEntry:
    """Put an alarm aside until a stated time."""
    if minutes not in shelf_choices(alarm):
        raise ValueError(f"{minutes} is none of {shelf_choices(alarm)}")
    body: dict[str, object] = {"until_ms": now_ms + minutes * 60_000, "reason": reason_of(reason)}
    return _entry(entries.SHELVE, alarm, person, now_ms, body)


def unshelve(alarm: Alarm, person: Person, now_ms: int) -> JournalEntry:
    """Bring an alarm back before its time."""
    return _entry(entries.UNSHELVE, alarm, person, now_ms, {"why": "brought back by hand"})


def take_out(
    unit: str, ward: str, person: Person, now_ms: int, reason: str, purpose: str = REPAIR
) -> JournalEntry:  # fmt: skip
    """Take a unit out of service, for a repair or because it is not needed (one of gate.PURPOSES)."""
    if purpose not in PURPOSES:
        raise ValueError(f"'{purpose}' is none of {PURPOSES}")
    return _service(entries.OUT_OF_SERVICE, unit, ward, person, now_ms, {"reason": reason_of(reason), "for": purpose})


def put_back(
    unit: str, ward: str, person: Person, now_ms: int, reason: str, gate: Gate, *, override: bool = False
) -> JournalEntry:  # fmt: skip
    """Return a unit to service: `gate` must allow it (gate.may_return), or an administrator overrides with a reason."""
    may_service(person)
    body: dict[str, object] = {"reason": reason_of(reason)}
    if gate.may and gate.proof is not None:
        body["proof"] = gate.proof.seq
    elif not gate.may:
        if not (override and may(person.role, OVERRIDE)):
            raise Refused(words.gate_shut(unit, gate.why, gate.way_out))
        body |= {"override": True, "missing": gate.why}
    return _service(entries.RETURN_TO_SERVICE, unit, ward, person, now_ms, body)


def _entry(kind: str, alarm: Alarm, person: Person, now_ms: int, body: dict[str, object]) -> JournalEntry:
    who = named(person)
    return JournalEntry(
        at_ms=now_ms, kind=kind, unit=alarm.unit, ward=alarm.ward, condition=alarm.condition, who=who.name,
        role=who.role, origin=ORIGIN, body={**body, "event_seq": alarm.event_seq},
    )  # fmt: skip


def _service(
    kind: str, unit: str, ward: str, person: Person, now_ms: int, body: dict[str, object]
) -> JournalEntry:  # fmt: skip
    who = may_service(person)
    return JournalEntry(
        at_ms=now_ms, kind=kind, unit=unit, ward=ward, who=who.name, role=who.role, origin=ORIGIN, body=body
    )


def may_service(person: Person) -> Person:
    """The person with a tidy name; Refused when taking out and returning units is not theirs."""
    who = named(person)
    if who.role not in SERVICE_ROLES:
        raise Refused(words.SERVICE_ROLES)
    return who


def named(person: Person) -> Person:
    """The person with a tidy name; Refused without one."""
    name = " ".join(person.name.split())[:TEXT_MAX]
    if not name:
        raise Refused(words.NAME_FIRST)
    if person.role not in ROLES:
        raise ValueError(f"'{person.role}' is none of {ROLES}")
    return person._replace(name=name)


def reason_of(text: str) -> str:
    """A reason, tidied; Refused when there is none."""
    reason = " ".join(text.split())[:TEXT_MAX]
    if not reason:
        raise Refused(words.REASON_FIRST)
    return reason
