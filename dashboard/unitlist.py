"""All units in the order in which they need attention, each with every reason in one line; pure.

Rules of this file: nothing is judged here. A unit's state is its tile's, as on the board; to it come what the collector
foresees, what is due and which check is missing, each as it was stored.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from enum import IntEnum
from typing import Final, NamedTuple

from collector.rules.unitrow import UnitRow
from collector.service.due import DueTask
from collector.service.gate import ProofDue
from collector.site import Site
from collector.terms import task_of
from dashboard import capacity_words
from dashboard import unitlist_words as words
from dashboard import words as common_words
from dashboard.board import Board, Look, Tile
from dashboard.capacity import FORETELLS, is_at_flow, is_old
from dashboard.queries import Now
from dashboard.ranges import range_of, when_text
from dashboard.sheet import Cell, Row
from dashboard.times import DAY

#: What is foreseen later than this is the forecast's to tell on the unit's own page.
_AHEAD_MIN: Final = 7 * 1440
_LIMITS: Final = (
    ("shutdown_in_min", capacity_words.TURNED_UP[3]),
    ("red_in_min", capacity_words.TURNED_UP[2]),
    ("amber_in_min", capacity_words.TURNED_UP[1]),
)


class Rank(IntEnum):
    """Reasons, the most urgent first; from QUIET on there is nothing to do."""

    HIGH = 0
    MEDIUM = 1
    SILENT = 2
    DOUBT = 3
    FORESEEN = 4
    LOW = 5
    SHORT = 6
    HELD = 7
    EARLIER = 8
    OVERDUE = 9
    UNPROVEN = 10
    SOON = 11
    QUIET = 12
    UNUSED = 13


_RANKS: Final = {
    Look.HIGH: Rank.HIGH, Look.MEDIUM: Rank.MEDIUM, Look.STALE: Rank.SILENT, Look.LOW: Rank.LOW, Look.HELD: Rank.HELD,
    Look.EARLIER: Rank.EARLIER, Look.UNUSED: Rank.UNUSED,
}  # fmt: skip


class Need(NamedTuple):
    """One unit of the list: `why` joins its reasons, the most urgent first; rank is that of the first."""

    rank: Rank
    unit: str
    why: str
    ward: str
    ward_title: str
    model: str
    tile: Tile
    serial: str = ""

    @property
    def pressing(self) -> bool:
        """Whether there is something to do about it now."""
        return self.rank < Rank.SOON

    @property
    def soon(self) -> bool:
        """Whether nothing but a task of this week asks for it."""
        return self.rank == Rank.SOON


def needs(
    now: Now, board: Board, dues: Iterable[DueTask], proofs: Iterable[ProofDue], now_ms: int
) -> list[Need]:  # fmt: skip
    """Every unit of the board, the most urgent first, then what nobody has acknowledged, then by name."""
    due: dict[str, list[DueTask]] = {}
    for task in dues:
        due.setdefault(task.unit, []).append(task)
    doubts = {proof.unit: proof for proof in proofs if proof.in_service}
    found = [
        _need(now, tile, (ward.id, ward.title), due.get(tile.unit, ()), doubts, now_ms)
        for ward in board.wards
        for tile in ward.tiles
    ]
    return sorted(found, key=lambda one: (one.rank, not one.tile.unheard, one.unit))


def _need(
    now: Now, tile: Tile, ward: tuple[str, str], dues: Sequence[DueTask], doubts: Mapping[str, ProofDue], now_ms: int
) -> Need:  # fmt: skip
    known = now.site.unit(tile.unit) if now.site else None
    reasons = sorted(_reasons(now, tile, dues, doubts, now_ms), key=lambda one: one[0])
    rank = reasons[0][0] if reasons else Rank.QUIET
    why = "; ".join(dict.fromkeys(text for _, text in reasons if text)) or tile.word
    return Need(
        rank,
        tile.unit,
        why[:1].upper() + why[1:],
        *ward,
        known.model if known else "",
        tile,
        known.serial if known else "",
    )


def _reasons(
    now: Now, tile: Tile, dues: Sequence[DueTask], doubts: Mapping[str, ProofDue], now_ms: int
) -> list[tuple[Rank, str]]:  # fmt: skip
    if tile.look == Look.UNUSED:
        return [(Rank.UNUSED, tile.word)]
    found: list[tuple[Rank, str]] = []
    if tile.look in _RANKS:
        found.append((_RANKS[tile.look], _alarm_said(tile)))
    if tile.unit in doubts:
        found.append((Rank.DOUBT, words.check_missing(doubts[tile.unit].why)))
    row = now.units.get(tile.unit)
    if ahead := _foreseen(row, tile, now, now_ms):
        told = any(alarm.unit == tile.unit and alarm.condition == FORETELLS and alarm.speaks for alarm in now.alarms)
        found.append((Rank.FORESEEN, "" if told else ahead))  # its alarm says the same
    if tile.holds:
        found.append((Rank.SHORT, tile.holds))
    if not tile.greyed and row is not None and row.proven_lpm is None and not tile.holds:
        found.append((Rank.UNPROVEN, common_words.NOT_PROVEN))
    return found + _due(dues, now_ms)


def _alarm_said(tile: Tile) -> str:
    """What its tile says of alarms; what is a sentence of its own stays one."""
    mark = ". " if tile.note[:1].isupper() else "; "
    return mark.join(text for text in (tile.word, tile.note) if text)


def _foreseen(row: UnitRow | None, tile: Tile, now: Now, now_ms: int) -> str:
    """The worst limit that will be reached within a week at the flow in use; "" when that is said or not of now."""
    found = row.capacity if row else None
    if row is None or found is None or found.outlook is None or tile.greyed or tile.look in (Look.HIGH, Look.MEDIUM):
        return ""
    if is_old(found, row, now, now_ms) or not is_at_flow(found.outlook, row):
        return ""
    for name, title in _LIMITS:
        quantiles = getattr(found.outlook, name)
        if (middle := quantiles.get("p50")) is not None and middle <= _AHEAD_MIN:
            return words.foreseen(title, when_text(range_of(quantiles, now_ms - found.at_ms)))
    return ""


def _due(dues: Sequence[DueTask], now_ms: int) -> list[tuple[Rank, str]]:
    late = [task_of(due.title) for due in dues if due.overdue]
    if late:
        return [(Rank.OVERDUE, words.overdue(late[0], len(late) - 1))]
    near = next((task_of(due.title) for due in dues if due.due_ms.p50 < now_ms + 7 * DAY), "")
    return [(Rank.SOON, words.soon(near))] if near else []


def chosen(found: Iterable[Need], ward: str, model: str, text: str) -> list[Need]:
    """Of one ward and model ("" for all), whose unit, serial number, ward or reason holds the text."""
    wanted = text.casefold().split()
    return [
        one for one in found
        if ward in ("", one.ward) and model in ("", one.model)
        and all(word in f"{one.unit} {one.serial} {one.ward_title} {one.model} {one.why}".casefold() for word in wanted)
    ]  # fmt: skip


def models_of(site: Site | None) -> Collection[str]:
    """The models that units have."""
    return sorted({unit.model for unit in site.units if unit.model}) if site else ()


def need_rows(found: Iterable[Need]) -> list[Row]:
    """One row a unit; old values are not shown as if they were of now."""
    return [
        (Cell(one.unit, one.unit, look=one.tile.look), one.why, one.ward_title, one.model,
         "" if one.tile.greyed else one.tile.purity, "" if one.tile.greyed else one.tile.flow,
         "" if one.tile.greyed else one.tile.age)
        for one in found
    ]  # fmt: skip
