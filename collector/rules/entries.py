"""Rows of the journal: what the rules found and what people did, in the order it was written down."""

from __future__ import annotations

from typing import Any, Final

import msgspec

from collector.rules.events import Event, event_fields

#: Kinds of journal rows. `condition` carries an event; the rest are what people or the collector did.
CONDITION: Final = "condition"
ACKNOWLEDGE: Final = "acknowledge"
SHELVE: Final = "shelve"
UNSHELVE: Final = "unshelve"
OUT_OF_SERVICE: Final = "out-of-service"
RETURN_TO_SERVICE: Final = "return-to-service"
SERVICE_HOURS: Final = "service-hours"
HOUR_METER: Final = "hour-meter"
NOTE: Final = "note"
#: A task of a unit: {task, outcome, meter_h, minutes, parts: {part: n}, note}; outcome is one of OUTCOMES.
TASK_DONE: Final = "task-done"
#: A work order: {work, why, condition}; then {work, fault_found, cause, action, parts: {part: n}, minutes}.
WORK_OPENED: Final = "work-opened"
WORK_CLOSED: Final = "work-closed"
#: Purity at rated flow by a reference analyser:
#: {work?, analyser, as_found_pct, as_left_pct, flow_lpm, uncertainty_pct, result: PASS or FAIL}.
PURITY_PROOF: Final = "purity-proof"
#: A cylinder's gauge pressure: {cylinder, kpa, entered}, the last being what was read, with its unit.
CYLINDER_READ: Final = "cylinder-read"
#: Stock: {part, by, why}; `by` is negative for what went.
PART_MOVED: Final = "part-moved"
#: A visit that was planned: {visit, day: "2026-10-05", tasks: [{unit, task}], state, why}; state is one of VISITS.
VISIT: Final = "visit"
#: A test of the alarm's way, no alarm: {wards: [ids], until_ms, say}; readers show it as TEST until then.
TEST_ALARM: Final = "test-alarm"
#: What came of it: {test: seq, arrived: [names], dead: {name: why}}.
TEST_RESULT: Final = "test-alarm-result"
#: A verified copy of the store: {copy, folder, bytes, head_seq, head_hash}; one that failed: {folder, said};
#: a store that was put back from one: {copy, made_ms, head_seq, head_hash}.
COPY_KEPT: Final = "copy-kept"
COPY_FAILED: Final = "copy-failed"
STORE_RESTORED: Final = "store-restored"
#: Somebody sent far too much: {kind: unit, cylinder or bridge, id, state: began or ended, left_out}.
FLOOD: Final = "flood"
#: People at the door: {login, how}; {login, why}; {reason, more?}; {of: "account" or "address", minutes}. No secrets.
SIGN_IN: Final = "sign-in"
SIGN_OUT: Final = "sign-out"
SIGN_IN_REFUSED: Final = "sign-in-refused"
SIGN_IN_LOCKED: Final = "sign-in-locked"
#: An account was changed: {login, what, ...what is new}; a wall link: {link, place, what: made or withdrawn}.
ACCOUNT: Final = "account"
WALL_LINK: Final = "wall-link"
#: Points that the long memory did not take, or that were gone before it could: {points, line, said}.
POINTS_DROPPED: Final = "points-dropped"
#: A message that a gateway took, or did not: {way, person, role, alarms: [{about, unit, ward, condition, priority}],
#: attempt, step, say} and `said`, why not, with `last` when it is not tried again. `about` is alarm-N (N the row that
#: people must hear; alarm-N-K after it was put aside K times), test-N (N the test's row), collector-MS or broker-MS.
#: Never an address or a password.
MESSAGE_SENT: Final = "message-sent"
MESSAGE_FAILED: Final = "message-failed"
#: A bridge had to drop readings, the oldest first: {bridge, readings, ever, said, oldest}; `readings` are the new ones.
BRIDGE_DROPPED: Final = "bridge-dropped"
#: The store's pages were looked at and some are damaged: {said}.
STORE_DAMAGED: Final = "store-damaged"
#: This machine's clock was set while the collector ran: {by_s}, forward if above zero.
CLOCK_JUMPED: Final = "clock-jumped"
#: The site file is to be changed (collector/siteedit/asked.py has the bodies), and what came of it:
#: {change: seq, do, result: "made" or "refused", said?}.
SITE_CHANGE: Final = "site-change"
SITE_CHANGED: Final = "site-changed"
COLLECTOR_START: Final = "collector-start"
COLLECTOR_STOP: Final = "collector-stop"
KINDS: Final = (
    CONDITION, ACKNOWLEDGE, SHELVE, UNSHELVE, OUT_OF_SERVICE, RETURN_TO_SERVICE, SERVICE_HOURS, HOUR_METER, NOTE,
    TASK_DONE, WORK_OPENED, WORK_CLOSED, PURITY_PROOF, CYLINDER_READ, PART_MOVED, VISIT,
    TEST_ALARM, TEST_RESULT, POINTS_DROPPED, COPY_KEPT, COPY_FAILED, STORE_RESTORED,
    SIGN_IN, SIGN_OUT, SIGN_IN_REFUSED, SIGN_IN_LOCKED, ACCOUNT, WALL_LINK, FLOOD, STORE_DAMAGED, CLOCK_JUMPED,
    MESSAGE_SENT, MESSAGE_FAILED, BRIDGE_DROPPED, SITE_CHANGE, SITE_CHANGED, COLLECTOR_START, COLLECTOR_STOP,
)  # fmt: skip

DONE: Final = "done"
COULD_NOT_LOCATE: Final = "could-not-locate"
PUT_OFF: Final = "put-off"
OUTCOMES: Final = (DONE, COULD_NOT_LOCATE, PUT_OFF)
PASS: Final = "pass"  # noqa: S105 - a result
FAIL: Final = "fail"
VISITS: Final = ("locked", "moved", "cancelled", "done")


class JournalEntry(msgspec.Struct, frozen=True, kw_only=True):
    """Something to be written down.

    at_ms is when it happened (facility clock); who, role and origin say who did it and from where ("collector" for the
    rules). An entry about an alarm names unit, ward and condition as the alarm does. body is JSON-able.
    """

    at_ms: int
    kind: str
    unit: str = ""
    ward: str = ""
    condition: str = ""
    who: str = ""
    role: str = ""
    origin: str = ""
    body: dict[str, Any] = {}


def entry_of(event: Event) -> JournalEntry:
    """The entry of what the rules found."""
    return JournalEntry(
        at_ms=event.time_ms, kind=CONDITION, unit=event.unit, ward=event.ward, condition=event.condition,
        origin="collector", body=event_fields(event),
    )  # fmt: skip


class JournalRow(JournalEntry, frozen=True, kw_only=True):
    """An entry that has been written: numbered, stamped with the wall clock and chained to the row before by a hash."""

    seq: int
    recorded_ms: int
    prev_hash: str = ""
    hash: str = ""
