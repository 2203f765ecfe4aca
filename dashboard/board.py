"""The ward board as plain data: one tile a unit, worst first within its ward; pure.

Rules of this file: a tile's state comes from what the collector stored (phase and alarms) and from the age of the last
reading, nothing else. Old values are marked as such whatever else is true, and a unit with an alarm put aside, or one
whose purity is not measured, is never shown like one that simply runs. What is due on a unit is the planner's to read
(screen "Due"): here it is a note.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from collector.rules.alarms import Alarm, urgency
from collector.rules.lifecycle import State
from collector.rules.unitrow import OFF, SILENT, WARMING_UP, UnitRow
from collector.service.record import DUE
from collector.site import UNASSIGNED, Unit, Ward
from collector.terms import action_of, title_of
from dashboard import words
from dashboard.capacity import FORETELLS, expected_text, holds_text, red_text
from dashboard.changeover import say_of, ward_line
from dashboard.freshness import collector_lives, is_stale
from dashboard.queries import Now
from dashboard.times import age_text, moment_text


class Look(StrEnum):
    """How a tile looks: each has a word, a shape and a colour of its own."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"
    STALE = "stale"
    EARLIER = "earlier"
    HELD = "held"
    WARMING = "warming"
    RUNNING = "running"
    OFF = "off"
    UNUSED = "unused"


#: Looks that keep a unit in its place; the others come first, in this order.
_STEADY: Final = (Look.WARMING, Look.RUNNING, Look.OFF, Look.UNUSED)
_ORDER: Final[dict[Look, int]] = {look: place for place, look in enumerate(Look) if look not in _STEADY}


class Tile(NamedTuple):
    """What one tile says; every text is plain and still to be escaped."""

    unit: str
    look: Look
    word: str
    purity: str
    flow: str
    greyed: bool
    proven: str
    age: str
    action: str = ""
    acknowledged: str = ""
    unheard: bool = False  # an alarm that nobody has acknowledged
    note: str = ""
    shared: bool = False  # its worst alarm is its ward's
    holds: str = ""  # that it will not hold its rated flow
    change: str = ""  # what to change over to


class Notice(NamedTuple):
    """An alarm of a whole ward."""

    look: Look
    title: str
    action: str
    since: str
    acknowledged: str
    unheard: bool
    change: str = ""


class WardBlock(NamedTuple):
    """One ward of the board."""

    id: str
    title: str
    notices: tuple[Notice, ...]
    tiles: tuple[Tile, ...]
    backup: str = ""


class Board(NamedTuple):
    """The whole board; `summary` says in words how many alarms there are and how many units are in which state."""

    wards: tuple[WardBlock, ...]
    calm: bool
    summary: str
    counts: str


def board_of(now: Now, now_ms: int, wall_ms: int, ward: str | None = None) -> Board:
    """The board of one ward, or of all."""
    lives = collector_lives(now, wall_ms)
    blocks = tuple(_block(now, place, now_ms, lives) for place in places(now) if ward in (None, place.id))
    speaking = [alarm for alarm in heard_here(now) if ward in (None, alarm.ward)]
    alarms = {words.PRIORITY[name].lower(): sum(a.priority == name for a in speaking) for name in words.PRIORITY}
    tiles = [tile for block in blocks for tile in block.tiles]
    looks = {tile.look for tile in tiles}
    quiet = not speaking and lives and not looks & {Look.STALE, Look.EARLIER, Look.HELD}
    summary = words.alarms_now(alarms) if speaking else _without_alarm(looks, lives)
    return Board(blocks, quiet, summary, words.unit_counts(_counted(tiles)))


def _without_alarm(looks: set[Look], lives: bool) -> str:
    if not lives:
        return words.OLD
    if Look.STALE in looks:
        return words.DOUBT
    return words.LEFT_OVER if looks & {Look.EARLIER, Look.HELD} else words.CALM


def _counted(tiles: Iterable[Tile]) -> dict[str, int]:
    said = Counter(tile.word for tile in tiles if not tile.greyed)
    greyed = sum(tile.greyed and tile.look != Look.UNUSED for tile in tiles)
    unused = sum(tile.look == Look.UNUSED for tile in tiles)
    known = (words.RUNNING, words.WARMING_UP, words.OFF, words.PURITY_UNKNOWN, words.HELD)
    return {word: said[word] for word in known} | {words.WITHOUT_DATA: greyed, words.NOT_USED: unused}


def heard_here(now: Now) -> list[Alarm]:
    """The alarms of a ward's board, worst and oldest first: what is due is noted there and alarms nobody."""
    return [alarm for alarm in now.speaking() if alarm.condition not in DUE]


def worst_by_ward(now: Now) -> dict[str, Look]:
    """The worst alarm that speaks in each ward that has one: it may stand below the edge of the screen."""
    return {alarm.ward: Look(alarm.priority) for alarm in reversed(heard_here(now))}


def places(now: Now) -> tuple[Ward, ...]:
    """The wards to show; without a site file everything stands in one place."""
    return now.site.places() if now.site else (Ward(id=UNASSIGNED, name="Units"),)


def _units(now: Now, ward: Ward) -> tuple[Unit, ...]:
    return now.site.units_of(ward.id) if now.site else tuple(Unit(id=unit) for unit in now.units)


def _block(now: Now, ward: Ward, now_ms: int, lives: bool) -> WardBlock:
    own = [alarm for alarm in now.alarms if not alarm.unit and alarm.ward == ward.id and alarm.speaks]
    alarms: dict[str, list[Alarm]] = {}
    for alarm in now.alarms:
        if alarm.unit:
            alarms.setdefault(alarm.unit, []).append(alarm)
    found = [
        tile_of(unit.id, now, alarms.get(unit.id, ()), now_ms, lives, shared_with(unit.id, own, now))
        for unit in _units(now, ward)
    ]
    found.sort(key=lambda tile: (_ORDER.get(tile.look, len(Look)), not tile.unheard))
    return WardBlock(ward.id, ward.title, tuple(_notice(alarm, now, now_ms) for alarm in own), tuple(found),
                     ward_line(now, ward.id, now_ms))  # fmt: skip


def shared_with(unit: str, alarms: Iterable[Alarm], now: Now) -> list[Alarm]:
    """The alarms of its ward that speak for a unit; one that has been heard again is silent no more."""
    row = now.units.get(unit)
    back = {"readings-absent"} if row is not None and row.phase != SILENT else set()
    named = ((alarm, alarm.evidence.get("units")) for alarm in alarms if not alarm.unit and alarm.speaks)
    return [a for a, units in named if isinstance(units, list) and unit in units and a.condition not in back]


def _notice(alarm: Alarm, now: Now, now_ms: int) -> Notice:
    since = moment_text(alarm.raised_ms, now_ms, now.zone)
    return Notice(Look(alarm.priority), title_of(alarm.condition), instruction(alarm), since,
                  acknowledged(alarm, now, now_ms), alarm.state == State.UNACKNOWLEDGED,
                  say_of(now, [alarm], now_ms))  # fmt: skip


def instruction(alarm: Alarm) -> str:
    """The one thing to do, who is meant when it is not the ward, and the bridge that went when one did."""
    if not alarm.action:
        return ""
    bridge = alarm.evidence.get("bridge")
    return (
        words.for_others(alarm.audience)
        + action_of(alarm.action, alarm.condition, alarm.evidence)
        + (words.bridge_gone(str(bridge)) if bridge else "")
    )


def acknowledged(alarm: Alarm, now: Now, now_ms: int) -> str:
    """Who has said that they know, or nothing."""
    if not alarm.acked_by or alarm.state == State.UNACKNOWLEDGED:
        return ""
    return words.acknowledged_by(alarm.acked_by, alarm.acked_role, moment_text(alarm.acked_ms, now_ms, now.zone))


def tile_of(
    unit: str, now: Now, alarms: Iterable[Alarm], now_ms: int, lives: bool, shared: Sequence[Alarm] = ()
) -> Tile:
    """One unit's tile; `shared` are alarms of its ward that speak for it."""
    row = now.units.get(unit)
    greyed = is_stale(row, now, now_ms, lives)
    due = sorted(
        (title_of(alarm.condition) for alarm in alarms if alarm.speaks and alarm.condition in DUE), reverse=True
    )
    alarms = sorted((alarm for alarm in alarms if alarm.condition not in DUE), key=urgency)
    speaking = sorted([*shared, *(alarm for alarm in alarms if alarm.speaks)], key=urgency)
    bare = _bare(unit, row, greyed, now, now_ms)
    if unit in now.out_of_service:
        return bare._replace(look=Look.UNUSED, word=words.NOT_USED)
    if speaking:
        return _alarming(bare, speaking, now, now_ms)
    quiet = _quiet(bare, row, alarms, now, now_ms)
    return quiet._replace(note="; ".join(text for text in (quiet.note, *due) if text))


def _bare(unit: str, row: UnitRow | None, greyed: bool, now: Now, now_ms: int) -> Tile:
    if row is None or row.last_ms is None:
        return Tile(unit, Look.STALE, words.NO_DATA_YET, words.NOT_MEASURED, words.NOT_MEASURED, True, "", "")
    since = words.no_data_since(moment_text(row.last_ms, now_ms, now.zone))
    proven = "" if row.proven_lpm is None else words.proven(f"{row.proven_lpm:.1f}")
    holds = holds_text(row, now.model_of(unit), now, now_ms, stale=greyed)
    return Tile(
        unit, Look.STALE, since, _number(row.purity_pct), _number(row.flow_lpm), greyed,
        "" if holds else proven or words.NOT_PROVEN, since if greyed else age_text(now_ms - row.last_ms), holds=holds,
    )  # fmt: skip


def _number(value: float | None) -> str:
    return words.NOT_MEASURED if value is None else f"{value:.1f}"


def _alarming(bare: Tile, speaking: list[Alarm], now: Now, now_ms: int) -> Tile:
    worst, row = speaking[0], now.units.get(bare.unit)
    word, notes, left = title_of(worst.condition), [], len(speaking) - 1
    foretells = next((alarm for alarm in speaking if alarm.condition == FORETELLS), None)
    expected = expected_text(foretells, row, now, now_ms, by_clock=bare.greyed) if foretells else ""
    if foretells is not None and expected:  # it is told even where a worse alarm speaks: it says how long is left
        word = expected if foretells is worst else word
        notes = [red_text(foretells, row, now.model_of(bare.unit), now_ms), "" if foretells is worst else expected]
        left -= foretells is not worst
    note = "; ".join(text for text in (*notes, words.more_alarms(left)) if text)
    holds = "" if worst.condition == "capacity-falling" else bare.holds  # its instruction says the same
    return bare._replace(
        holds=holds, look=Look(worst.priority), word=word, action=instruction(worst), note=note,
        acknowledged=acknowledged(worst, now, now_ms), shared=not worst.unit,
        change=say_of(now, speaking, now_ms) if worst.unit else "",
        unheard=any(alarm.state == State.UNACKNOWLEDGED for alarm in speaking),
    )  # fmt: skip


def _quiet(bare: Tile, row: UnitRow | None, alarms: list[Alarm], now: Now, now_ms: int) -> Tile:
    """A tile without an alarm that speaks."""
    held = [alarm for alarm in alarms if alarm.active and alarm.held]
    gone = [alarm for alarm in alarms if alarm.state == State.RETURNED]
    if held:
        until = moment_text(held[0].shelved_until_ms, now_ms, now.zone)
        note = f"{title_of(held[0].condition)}, until {until}" if held[0].shelved_until_ms else ""
        bare = bare._replace(note=note or title_of(held[0].condition))
    elif gone:
        bare = bare._replace(note=f"{title_of(gone[0].condition)}: {words.WAS_THERE.lower()}")
    if bare.greyed or row is None:
        return bare
    if held:
        return bare._replace(look=Look.HELD, word=words.HELD)
    look, word = _PHASES.get(row.phase, (Look.RUNNING, words.RUNNING))
    if look == Look.RUNNING and row.purity_pct is None:
        look, word = Look.STALE, words.PURITY_UNKNOWN
    return bare._replace(look=Look.EARLIER if gone else look, word=word)


_PHASES: Final = {OFF: (Look.OFF, words.OFF), WARMING_UP: (Look.WARMING, words.WARMING_UP)}
