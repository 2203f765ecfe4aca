"""The board as one block of HTML; pure. Every value that comes from outside goes through `escape`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from math import ceil
from urllib.parse import quote

from dashboard import access_words, screen_words, service_words, words
from dashboard.board import Board, Look, Notice, Tile, WardBlock, worst_by_ward
from dashboard.freshness import Banner
from dashboard.queries import Now
from dashboard.times import clock_text
from dashboard.way_test import test_text

#: What stands in a state's shape. One to three exclamation marks by priority, as IEC 60601-1-8 has them.
_SIGNS = {Look.HIGH: "!!!", Look.MEDIUM: "!!", Look.LOW: "!", Look.STALE: "?", Look.EARLIER: "!", Look.HELD: "II"}


def mark_html(look: Look) -> str:
    """A state's shape; the word beside it says the same."""
    return f'<span class="sw-mark sw-mark-{look}" aria-hidden="true"><i>{_SIGNS.get(look, "")}</i></span>'


def strip_html(now: Now | None, found: Iterable[Banner], now_ms: int, beat_ms: int) -> str:
    """What stands above every screen: that data are simulated, what is wrong, and the beat that the browser watches."""
    parts = []
    if now is not None and now.simulated:
        mark = words.simulated_mark(now.clock.speed, clock_text(now_ms, now.zone))
        mark += f" · {access_words.OPEN}" if now.open_to_all else ""
        parts.append(f'<div class="sw-simulated">{escape(mark)}</div>')
    if now is not None and (test := test_text(now, now_ms)):
        parts.append(f'<div class="sw-test">{escape(test)}</div>')
    parts += [
        f'<div class="sw-banner{" sw-lost" if banner.lost else ""}">{escape(banner.text)}</div>' for banner in found
    ]
    return f'<div class="sw-strip" data-beat="{beat_ms}">{"".join(parts)}</div>'


def board_html(board: Board, ward: str | None) -> str:
    """Summary, wards and tiles."""
    tone = " sw-calm" if board.calm else ""
    head = f'<div class="sw-summary{tone}"><b>{escape(board.summary)}</b> <span>{escape(board.counts)}</span></div>'
    only = " sw-single" if len(board.wards) == 1 else ""
    return f'{head}<div class="sw-wards{only}">{"".join(_ward_html(block, ward) for block in board.wards)}</div>'


def top_html(now: Now, now_ms: int, wards: Sequence[tuple[str, str]], chosen: str | None) -> str:
    """Links to each ward's board, the hospital, the time; plain links, so that a wall screen keeps its address."""
    worst = worst_by_ward(now)
    links = [("./", screen_words.ALL_WARDS, chosen is None, "")]
    links += [
        (f"./?ward={quote(ward)}", title, ward == chosen, mark_html(worst[ward]) if ward in worst else "")
        for ward, title in wards
    ]
    made = (
        f'<a href="{url}"{" aria-current=page" if here else ""}>{mark}{escape(title)}</a>'
        for url, title, here, mark in links
    )
    chooser = (
        f'<nav class="sw-chooser" aria-label="{escape(service_words.WARD)}">{"".join(made)}</nav>'
        if len(wards) > 1
        else "<span></span>"
    )
    hospital = now.site.facility.name or now.site.facility.id if now.site else now.facility
    return f'<div class="sw-top">{chooser}<b>{escape(hospital)} · {clock_text(now_ms, now.zone)}</b></div>'


def _ward_html(block: WardBlock, chosen: str | None) -> str:
    link = escape(block.title)
    if chosen is None:
        link = f'<a href="./?ward={quote(block.id)}">{link}</a>'
    notices = "".join(_notice_html(notice) for notice in block.notices)
    # What the ward's own notice says to do is not said again by each of its units.
    shown = [tile._replace(action="") if tile.shared else tile for tile in block.tiles]
    speaking = sum(bool(tile.action) for tile in shown)
    # A tile that speaks is two wide and two high; the others stand beside it in two rows.
    wide = 2 * speaking + (ceil((len(shown) - speaking) / 2) if speaking else len(shown)) or 1
    backup = f'<p class="sw-backup">{escape(block.backup)}</p>' if chosen is not None and block.backup else ""
    return (
        f'<section class="sw-ward" style="--n:{wide}"><h2>{link}</h2>{backup}{notices}'
        f'<div class="sw-tiles">{"".join(map(tile_html, shown))}</div></section>'
    )


def _notice_html(notice: Notice) -> str:
    flash = " sw-unheard" if notice.unheard else ""
    return (
        f'<div class="sw-notice sw-{notice.look}{flash}">{mark_html(notice.look)}'
        f"<b>{escape(notice.title)}</b> {escape(screen_words.since(notice.since))}. {escape(notice.action)} "
        f"{f'<b>{escape(notice.change)}</b> ' if notice.change else ''}"
        f'<span class="sw-acked">{escape(notice.acknowledged)}</span></div>'
    )


def tile_html(tile: Tile) -> str:
    """One unit's tile, a link to its own screen."""
    classes = ["sw-tile", f"sw-{tile.look}"]
    classes += ["sw-unheard"] * tile.unheard + ["sw-greyed"] * tile.greyed + ["sw-wide"] * bool(tile.action)
    age = "" if tile.greyed else f'<span class="sw-age" title="{words.AGE}">{escape(tile.age)}</span>'
    values = (
        f'<span class="sw-values"><b>{escape(tile.purity)}<small> %</small></b>'
        f"<span>{escape(tile.flow)}<small> L/min</small></span></span>"
    )
    foot = " · ".join(text for text in (tile.age if tile.greyed and tile.age != tile.word else "", tile.proven) if text)
    texts = (
        ("sw-do", tile.action),
        ("sw-change", tile.change),
        ("sw-holds", tile.holds),
        ("sw-note", tile.note),
        ("sw-acked", tile.acknowledged),
        ("sw-foot", foot),
    )
    said = "".join(f'<span class="{name}">{escape(text)}</span>' for name, text in texts if text)
    return (
        f'<a class="{" ".join(classes)}" id="tile-{escape(tile.unit)}" href="./unit?unit={quote(tile.unit)}">'
        f'<span class="sw-head">{mark_html(tile.look)}<b>{escape(tile.unit)}</b>{age}</span>{values}'
        f'<span class="sw-text"><span class="sw-word">{escape(tile.word)}</span>{said}</span></a>'
    )
