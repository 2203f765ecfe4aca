"""A ward's screen as plain data: what stands, worst first, and every unit in its place; pure.

Rules of this file: it puts stored alarms into words and judges nothing but age. Where nothing can be known of the whole
ward, `lost` says so and takes the screen over; what stood then is still told, since somebody may have to act on it.
What is not the ward's to do stands short among the others and makes no sound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, NamedTuple

from collector.backup.card import CARRIES
from collector.backup.ward import GIVES_NOTHING
from collector.rules.alarms import Alarm, urgency
from collector.rules.catalogue import WARD
from collector.rules.events import PRIORITIES
from collector.rules.lifecycle import State
from collector.rules.unitrow import UnitRow
from collector.terms import title_of
from dashboard import wall_words as words
from dashboard.board import Board, Look, Tile, acknowledged, board_of, heard_here, instruction
from dashboard.capacity import FORETELLS, expected_text, red_text
from dashboard.changeover import say_of
from dashboard.freshness import Banner, collector_lives, is_stale
from dashboard.queries import Now
from dashboard.times import clock_text, local, moment_text
from dashboard.way_test import test_text
from dashboard.words import simulated_mark

#: Night by the facility's clock (common practice, no source).
NIGHT_FROM_H: Final = 19
NIGHT_TO_H: Final = 7

ToldText = Callable[[Alarm], str]


class Alert(NamedTuple):
    """One unit in alarm, or a ward; texts are plain, still to be escaped. `tag` is new when it must be heard anew."""

    key: str
    tag: str
    look: Look
    who: str
    title: str
    since: str
    left: str = ""
    do: str = ""
    change: str = ""
    told: str = ""
    acked: str = ""
    more: int = 0
    for_ward: bool = True
    foretold: bool = False  # what is to come is its worst: how long is left says more than its title


class Wall(NamedTuple):
    """A ward's screen; `lost` are sentences that take it over, the first in large letters."""

    title: str
    hospital: str
    clock: str
    night: bool
    lost: tuple[str, ...] = ()
    over: tuple[tuple[str, str], ...] = ()  # what stands over it: (kind, words)
    alerts: tuple[Alert, ...] = ()
    tiles: tuple[Tile, ...] = ()
    calm: bool = False
    summary: str = ""
    counts: str = ""
    backup: str = ""


def wall_of(
    now: Now, banners: Sequence[Banner], now_ms: int, wall_ms: int, ward: str, told: ToldText = lambda _: ""
) -> Wall:  # fmt: skip
    """The screen of one ward; `told` says who was told of an alarm by message."""
    place = next((one for one in now.site.places() if one.id == ward), None) if now.site else None
    hour = local(now_ms, now.zone).hour
    hospital = now.site.facility.name or now.site.facility.id if now.site else now.facility
    bare = Wall(place.title if place else ward, hospital, clock_text(now_ms, now.zone),
                not NIGHT_TO_H <= hour < NIGHT_FROM_H)  # fmt: skip
    bare = bare._replace(over=tuple(_over(now, banners, now_ms)))
    lost = [banner.text for banner in banners if banner.lost]
    if place is None:
        return bare._replace(lost=tuple(lost or [words.NO_WARD]))
    board = board_of(now, now_ms, wall_ms, ward)
    tiles = _in_place(board, now, ward)
    lost += [] if lost else _silence(tiles, now, now_ms)
    lost += [words.last_news(when)] if lost and (when := _last_news(now, tiles, now_ms)) else []
    return bare._replace(
        lost=tuple(lost), alerts=tuple(_alerts(now, ward, now_ms, wall_ms, told)), tiles=tiles,
        calm=board.calm and bool(tiles), summary=board.summary if tiles else words.NO_UNITS, counts=board.counts,
        backup=board.wards[0].backup,
    )  # fmt: skip


def _over(now: Now, banners: Sequence[Banner], now_ms: int) -> Iterator[tuple[str, str]]:
    if now.simulated:
        yield "made", simulated_mark(now.clock.speed, clock_text(now_ms, now.zone))
    if test := test_text(now, now_ms):
        yield "test", test
    yield from (("warn", banner.text) for banner in banners if not banner.lost)


def _in_place(board: Board, now: Now, ward: str) -> tuple[Tile, ...]:
    """Tiles in the site file's order: people find a unit where it was yesterday."""
    places = {unit.id: place for place, unit in enumerate(now.site.units_of(ward))} if now.site else {}
    return tuple(sorted(board.wards[0].tiles, key=lambda tile: places.get(tile.unit, len(places))))


def _silence(tiles: Sequence[Tile], now: Now, now_ms: int) -> list[str]:
    """What is said where not one unit in use can be judged."""
    used = [tile for tile in tiles if tile.look != Look.UNUSED]
    if not used or not all(tile.greyed for tile in used):
        return []
    when = _last_news(now, used, now_ms)
    return [words.silent_since(when) if when else words.NEVER_HEARD]


def _last_news(now: Now, tiles: Sequence[Tile], now_ms: int) -> str:
    heard = [row.last_ms for tile in tiles if (row := now.units.get(tile.unit)) and row.last_ms]
    return moment_text(max(heard), now_ms, now.zone) if heard else ""


def _alerts(now: Now, ward: str, now_ms: int, wall_ms: int, told: ToldText) -> list[Alert]:
    """One a unit, one a ward's alarm; what the ward must act on first, then the worst, then what nobody knows yet."""
    grouped: dict[str, list[Alarm]] = {}
    for alarm in heard_here(now):
        if alarm.ward == ward and alarm.unit not in now.out_of_service:
            grouped.setdefault(alarm.unit or alarm.condition, []).append(alarm)
    lives = collector_lives(now, wall_ms)
    groups = [sorted(group, key=_rank) for group in grouped.values()]
    groups.sort(key=lambda group: _rank(group[0]))
    return [_alert(group, now, now_ms, lives, told) for group in groups]


def _rank(alarm: Alarm) -> tuple[object, ...]:
    known = alarm.state != State.UNACKNOWLEDGED
    return WARD not in alarm.audience, -PRIORITIES.index(alarm.priority), known, urgency(alarm)


def _alert(group: Sequence[Alarm], now: Now, now_ms: int, lives: bool, told: ToldText) -> Alert:
    worst, row = group[0], now.units.get(group[0].unit)
    title, left = _headline(group, row, now, now_ms, greyed=is_stale(row, now, now_ms, lives))
    carries = any(alarm.condition in CARRIES for alarm in group)
    known = sorted({text for alarm in group if (text := acknowledged(alarm, now, now_ms))})
    unheard = any(alarm.state == State.UNACKNOWLEDGED and WARD in alarm.audience for alarm in group)
    return Alert(
        key=worst.unit or f"ward-{worst.condition}", tag=".".join(f"{a.condition}-{a.heard_seq}" for a in group),
        look=Look(worst.priority), who=_who(worst), title=title, since=moment_text(worst.raised_ms, now_ms, now.zone),
        left=left, do=instruction(worst),
        change=(say_of(now, group, now_ms) or words.CHANGE_UNKNOWN) if carries else "",
        told=told(worst) or _not_told(now), acked="" if unheard else "; ".join(known), more=len(group) - 1,
        for_ward=WARD in worst.audience, foretold=worst.condition == FORETELLS and bool(left),
    )  # fmt: skip


def _who(alarm: Alarm) -> str:
    if alarm.unit:
        return alarm.unit
    named = alarm.evidence.get("units")
    return words.units(", ".join(map(str, named))) if isinstance(named, list) and named else words.WHOLE_WARD


def _not_told(now: Now) -> str:
    return words.NO_MESSAGES if now.site is None or now.site.messages is None else words.NOBODY_TOLD


def _headline(group: Sequence[Alarm], row: UnitRow | None, now: Now, now_ms: int, *, greyed: bool) -> tuple[str, str]:
    """What an alert is called, and how long is left: a range wherever one is foreseen."""
    worst = group[0]
    foretells = next((alarm for alarm in group if alarm.condition == FORETELLS), None)
    if any(alarm.condition in GIVES_NOTHING for alarm in group):
        return title_of(worst.condition), words.NO_TIME_LEFT
    expected = expected_text(foretells, row, now, now_ms, by_clock=greyed) if foretells else ""
    if foretells is not None and expected:
        model = now.model_of(worst.unit)
        red = red_text(foretells, row, model, now_ms) if not greyed else ""
        return title_of(worst.condition), ". ".join(text for text in (expected, red) if text)
    if worst.condition == "purity-red":
        return title_of(worst.condition), words.TOO_LOW_NOW
    return title_of(worst.condition), words.LEFT_UNKNOWN if worst.condition in CARRIES else ""
