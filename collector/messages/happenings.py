"""What there is to tell now: alarms that nobody has acknowledged, tests of the alarm's way, a lost collector; pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

import msgspec

from collector.messages.ledger import family_of
from collector.rules.alarms import Alarm, AlarmBoard, urgency
from collector.rules.catalogue import ENGINEER, title_of
from collector.rules.entries import JournalRow
from collector.rules.events import PRIORITIES, Priority
from collector.rules.lifecycle import State
from collector.rules.limits import MINUTE

ALARM: Final = "alarm"
TEST: Final = "test"
COLLECTOR_LOST: Final = "collector-lost"
BROKER_LOST: Final = "broker-lost"

#: Nothing is watched meanwhile, so it is told as high; the delays let an update or a restart pass by (common practice,
#: no source).
LOST_MS: Final = 2 * MINUTE
STOPPED_MS: Final = 15 * MINUTE  # after a stop on purpose
NO_BROKER_MS: Final = 5 * MINUTE
_LOST: Final = {
    COLLECTOR_LOST: ("Nothing is watched: the collector is not heard",
                     "Start the collector; until then go round the units themselves."),
    BROKER_LOST: ("No readings arrive: the collector has no broker",
                  "Look at broker and network; until then go round the units themselves."),
}  # fmt: skip


class Happening(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to be told; `about` is its name in the journal, `audience` whose it is.

    since_ms is when it began, heard_ms from when on it waits for an answer; both in facility time.
    """

    about: str
    kind: str
    unit: str = ""
    ward: str = ""
    condition: str
    priority: Priority
    audience: tuple[str, ...]
    title: str
    action: str
    since_ms: int
    heard_ms: int
    units: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """The unit, or the ward when several units are told together."""
        return self.unit or self.ward


class Lost(msgspec.Struct, frozen=True):
    """That the collector, or its broker, is gone: kind, since when (facility time), and what names this time."""

    kind: str
    since_ms: int
    name: int


def happenings(board: AlarmBoard, tests: Iterable[JournalRow], lost: Lost | None, now_ms: int) -> list[Happening]:
    """What is to be told now, the most urgent first."""
    speaking = board.speaking()
    shared = [alarm for alarm in speaking if not alarm.unit]
    worst = _worst(speaking)
    open_alarms = [
        alarm for alarm in speaking
        if alarm.state == State.UNACKNOWLEDGED and not any(_covers(one, alarm) for one in shared)
        and PRIORITIES.index(alarm.priority) >= worst[_happening(alarm)]
    ]  # fmt: skip
    found = [] if lost is None else [_lost(lost)]
    found += [_alarm(alarm) for alarm in sorted(open_alarms, key=urgency)]
    return found + [_test(row) for row in tests if now_ms <= int(row.body.get("until_ms") or 0)]


def _happening(alarm: Alarm) -> tuple[str, str, str]:
    return alarm.unit, alarm.ward, family_of(alarm.condition)


def _worst(speaking: Iterable[Alarm]) -> dict[tuple[str, str, str], int]:
    """The highest priority of each happening, acknowledged or not: what is less urgent of it is no news."""
    found: dict[tuple[str, str, str], int] = {}
    for alarm in speaking:
        key, rank = _happening(alarm), PRIORITIES.index(alarm.priority)
        found[key] = max(rank, found.get(key, rank))
    return found


def _covers(shared: Alarm, alarm: Alarm) -> bool:
    """A ward's one alarm tells of its members too: of the same thing, and of all that no power leads to."""
    units = shared.evidence.get("units")
    member = bool(alarm.unit) and alarm.ward == shared.ward and isinstance(units, list) and alarm.unit in units
    same = family_of(shared.condition) == family_of(alarm.condition)
    follows = shared.condition == "ward-supply-lost" and alarm.condition in ("readings-absent", "flow-absent")
    return member and (same or follows)


def _alarm(alarm: Alarm) -> Happening:
    since_ms = alarm.raised_ms or alarm.changed_ms or 0
    about = f"alarm-{alarm.heard_seq}" + (f"-{alarm.resumed}" if alarm.resumed else "")
    return Happening(
        about=about, kind=ALARM, unit=alarm.unit, ward=alarm.ward, condition=alarm.condition,
        priority=alarm.priority, audience=alarm.audience, title=title_of(alarm.condition), action=alarm.action,
        since_ms=since_ms, heard_ms=max(since_ms, alarm.heard_ms or 0),
        units=() if alarm.unit else _words(alarm.evidence.get("units")),
    )  # fmt: skip


def _lost(lost: Lost) -> Happening:
    title, action = _LOST[lost.kind]
    about = f"{lost.kind.removesuffix('-lost')}-{lost.name}"
    return Happening(about=about, kind=lost.kind, condition=lost.kind, priority="high", audience=(ENGINEER,),
                     title=title, action=action, since_ms=lost.since_ms, heard_ms=lost.since_ms)  # fmt: skip


def _test(row: JournalRow) -> Happening:
    said = str(row.body.get("say") or "This is a test of the alarm's way. Nothing is wrong.")
    return Happening(
        about=f"test-{row.seq}", kind=TEST, condition=TEST, priority="low", audience=(), title="Test", action=said,
        since_ms=row.at_ms, heard_ms=row.at_ms, units=_words(row.body.get("wards")),
    )  # fmt: skip


def _words(value: object) -> tuple[str, ...]:
    return tuple(map(str, value)) if isinstance(value, list) else ()


def what_is_lost(
    collector: Mapping[str, object] | None, stopped: bool, wall_ms: int, now_ms: int, speed: float
) -> Lost | None:
    """What the collector's status document tells of it; None while all is well, and before it was ever heard.

    `stopped` says that it ended on purpose. wall_ms is this machine's clock, now_ms facility time.
    """
    heard_ms, at_ms, gone_ms = (_number(collector, key) for key in ("wall_ms", "at_ms", "broker_ms"))
    if collector is None or heard_ms is None:
        return None
    if wall_ms - heard_ms > (STOPPED_MS if stopped else LOST_MS):
        return Lost(COLLECTOR_LOST, now_ms if at_ms is None else at_ms, heard_ms)
    away = collector.get("broker_state") != "connected"
    if away and gone_ms is not None and now_ms - gone_ms > NO_BROKER_MS * speed:
        return Lost(BROKER_LOST, gone_ms, gone_ms)
    return None


def _number(document: Mapping[str, object] | None, key: str) -> int | None:
    value = (document or {}).get(key)
    return value if isinstance(value, int) else None
