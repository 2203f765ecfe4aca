"""The alarm board: a fold over the journal, with what people did."""

from typing import Any

from collector.rules import entries
from collector.rules.alarms import Alarm, AlarmBoard
from collector.rules.entries import JournalRow
from collector.rules.lifecycle import State

MINUTE = 60_000
KEY = ("u1", "", "purity-amber")


class Board:
    """A board with a pen: writes rows and folds them."""

    def __init__(self) -> None:
        self.board, self.seq = AlarmBoard(), 0

    def write(
        self, kind: str, at_min: float, body: dict[str, Any] | None = None, unit: str = "u1", who: str = ""
    ) -> None:
        self.seq += 1
        row = JournalRow(
            seq=self.seq, recorded_ms=0, at_ms=int(at_min * MINUTE), kind=kind, unit=unit, ward="w",
            condition="purity-amber", who=who, role="ward" if who else "", body=body or {},
        )  # fmt: skip
        self.board.fold(row)

    def event(self, what: str, at_min: float, priority: str = "medium") -> None:
        self.write(
            entries.CONDITION,
            at_min,
            {"event": what, "priority": priority, "audience": ["ward"], "cause": "unknown", "action": "do"},
        )

    @property
    def alarm(self) -> Alarm:
        return self.board.alarms[KEY]


def test_raise_acknowledge_clear() -> None:
    b = Board()
    b.event("raised", 1)
    assert (b.alarm.state, b.alarm.speaks) == (State.UNACKNOWLEDGED, True)
    b.write(entries.ACKNOWLEDGE, 2, who="Nurse in charge")
    assert (b.alarm.state, b.alarm.acked_by, b.alarm.acked_ms) == (
        State.ACKNOWLEDGED,
        "Nurse in charge",
        2 * MINUTE,
    )
    b.event("cleared", 3)
    assert (b.alarm.state, b.alarm.speaks) == (State.NORMAL, False)


def test_an_alarm_that_went_away_unseen_waits_for_acknowledgement() -> None:
    b = Board()
    b.event("raised", 1)
    b.event("cleared", 2)
    assert b.alarm.state == State.RETURNED
    b.write(entries.ACKNOWLEDGE, 3, who="x")
    assert b.alarm.state == State.NORMAL


def test_a_shelf_ends_by_itself_and_the_alarm_speaks_again() -> None:
    b = Board()
    b.event("raised", 1)
    b.write(entries.SHELVE, 2, {"until_ms": 10 * MINUTE}, who="x")
    assert (b.alarm.state, b.alarm.speaks, b.board.expire(9 * MINUTE)) == (State.SHELVED, False, [])
    (entry,) = b.board.expire(10 * MINUTE)
    b.write(entry.kind, entry.at_ms / MINUTE, entry.body)
    assert (b.alarm.state, b.alarm.shelved_until_ms) == (State.UNACKNOWLEDGED, None)


def test_what_clears_on_the_shelf_is_normal_afterwards() -> None:
    b = Board()
    b.event("raised", 1)
    b.write(entries.SHELVE, 2, {"until_ms": 10 * MINUTE}, who="x")
    b.event("cleared", 5)
    b.write(entries.UNSHELVE, 10)
    assert b.alarm.state == State.NORMAL


def test_an_acknowledged_alarm_that_gets_worse_must_be_heard_anew() -> None:
    b = Board()
    b.event("raised", 1)
    b.write(entries.ACKNOWLEDGE, 2, who="x")
    b.event("updated", 3, priority="high")
    assert (b.alarm.state, b.alarm.priority) == (State.UNACKNOWLEDGED, "high")


def test_a_unit_out_of_service_is_held_back_and_new_alarms_of_it_too() -> None:
    b = Board()
    b.event("raised", 1)
    b.write(entries.OUT_OF_SERVICE, 2, who="x")
    assert (b.alarm.state, b.board.removed_units) == (State.OUT_OF_SERVICE, {"u1"})
    b.event("cleared", 3)
    b.event("raised", 4)
    assert not b.alarm.speaks
    b.write(entries.RETURN_TO_SERVICE, 5, who="x")
    assert (b.alarm.state, b.alarm.speaks) == (State.UNACKNOWLEDGED, True)


def test_a_step_that_the_table_does_not_allow_changes_nothing_and_is_counted() -> None:
    b = Board()
    b.event("raised", 1)
    b.event("cleared", 2)
    b.write(entries.ACKNOWLEDGE, 3, who="x")
    before = b.alarm.changed_ms
    b.write(entries.ACKNOWLEDGE, 4, who="y")
    assert (b.alarm.state, b.alarm.changed_ms, b.alarm.acked_by, b.board.refused) == (
        State.NORMAL,
        before,
        "x",
        1,
    )


def test_the_worst_and_oldest_come_first() -> None:
    board = AlarmBoard(
        Alarm(
            unit=u,
            ward="w",
            condition="c",
            state=State.UNACKNOWLEDGED,
            active=True,
            priority=p,  # type: ignore[arg-type]
            raised_ms=t,
            audience=("ward",),
        )
        for u, p, t in (("a", "low", 1), ("b", "high", 9), ("c", "high", 3), ("d", "medium", 2))
    )
    assert [alarm.unit for alarm in board.speaking("w", "ward")] == ["c", "b", "d", "a"]
    assert board.speaking("other") == []


def test_no_oxygen_comes_before_too_little_however_new_it_is() -> None:
    board = AlarmBoard(
        Alarm(unit="a", ward="w", condition=c, state=State.UNACKNOWLEDGED, active=True, priority="high", raised_ms=t)
        for c, t in (("purity-red", 1), ("purity-shutdown", 2))
    )
    assert [alarm.condition for alarm in board.speaking()] == ["purity-shutdown", "purity-red"]


def test_an_acknowledgement_of_what_was_seen_before_it_got_worse_does_not_count() -> None:
    b = Board()
    b.event("raised", 1)
    seen = b.alarm.event_seq
    b.event("updated", 2, priority="high")
    b.write(entries.ACKNOWLEDGE, 3, {"event_seq": seen}, who="x")
    assert (b.alarm.state, b.alarm.acked_by, b.board.refused) == (State.UNACKNOWLEDGED, "", 1)
    b.write(entries.ACKNOWLEDGE, 4, {"event_seq": b.alarm.event_seq}, who="x")
    assert b.alarm.state == State.ACKNOWLEDGED


def test_nothing_is_put_aside_without_an_end() -> None:
    b = Board()
    b.event("raised", 1)
    b.write(entries.SHELVE, 2, {}, who="x")
    assert (b.alarm.state, b.alarm.speaks, b.board.refused) == (State.UNACKNOWLEDGED, True, 1)
