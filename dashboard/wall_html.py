"""The ward screen as named parts of HTML, and the news that is sent of them: only what changed; pure.

A browser that has a part keeps it; `data-revs` names every part there is with its revision, so that the browser knows
when it lacks one. A changed part is sent with several runs, since a browser may pass one over, and one other in turn.
Every value that comes from outside goes through `escape`.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from hashlib import blake2s
from html import escape
from typing import Final, NamedTuple
from urllib.parse import quote

from dashboard import wall_words as words
from dashboard import words as common_words
from dashboard.board import Look, Tile
from dashboard.wall import Alert, Wall

SAID_TIMES: Final = 3
SHORT_MOST: Final = 5
_SIGNS: Final = {Look.HIGH: "!!!", Look.MEDIUM: "!!", Look.LOW: "!", Look.STALE: "?", Look.EARLIER: "!",
                 Look.HELD: "II"}  # fmt: skip


class Part(NamedTuple):
    """One part: where it stands, and its HTML, an element with `data-part`."""

    name: str
    html: str

    @property
    def rev(self) -> str:
        """A short name of what it says."""
        return blake2s(self.html.encode(), digest_size=4).hexdigest()


class News:
    """What one screen has been sent; `feed` makes what it is sent next."""

    def __init__(self) -> None:
        self._sent: dict[str, tuple[str, int]] = {}
        self._turn = 0

    def feed(self, parts: Sequence[Part], data: dict[str, str]) -> str:
        """The element that the browser reads: what it must know (`data`), and the parts that it may lack."""
        told = []
        self._turn += 1
        for place, part in enumerate(parts):
            rev, times = self._sent.get(part.name, ("", 0))
            times = times + 1 if rev == part.rev else 1
            self._sent[part.name] = part.rev, times
            if times <= SAID_TIMES or place == self._turn % len(parts):
                told.append(part.html)
        self._sent = {part.name: self._sent[part.name] for part in parts}
        revs = " ".join(f"{part.name}:{part.rev}" for part in parts)
        made = "".join(f' data-{name}="{escape(value)}"' for name, value in ({"revs": revs} | data).items())
        return f'<div id="sw-feed" class="sw-strip" hidden{made}>{"".join(told)}</div>'


def mark(look: Look) -> str:
    """A state's shape; the word beside it says the same."""
    return f'<span class="ww-mark ww-mark-{look}" aria-hidden="true"><i>{_SIGNS.get(look, "")}</i></span>'


def _part(name: str, inner: str, classes: str = "", tag: str = "div", more: str = "") -> Part:
    return Part(name, f'<{tag} data-part="{escape(name)}" class="{classes}"{more}>{inner}</{tag}>')


def parts_of(wall: Wall, *, linked: bool) -> list[Part]:
    """The parts of a screen; without links where it leads nowhere else. A lost one has none that could look well."""
    parts = [_top(wall), _over(wall)]
    if wall.lost:
        return [*parts, _lost(wall)]
    parts.append(_alert(wall, linked) if wall.alerts and wall.alerts[0].for_ward else _calm(wall))
    if short := _short(wall):
        parts.append(short)
    parts += [_tile(tile, linked) for tile in wall.tiles]
    return [*parts, _foot(wall, linked)]


def signals(wall: Wall) -> str:
    """What is to be heard, as JSON: [[tag, priority, acknowledged]]; a lost screen is a technical alarm."""
    found = [[f"{a.key}.{a.tag}", str(a.look), int(bool(a.acked))] for a in wall.alerts if a.for_ward]
    return json.dumps([*found, ["lost", "medium", 0]] if wall.lost else found)


def stood(wall: Wall) -> str:
    """The alerts in short, for a browser that loses touch."""
    return "; ".join(f"{alert.who}: {alert.title}. {alert.do}" for alert in wall.alerts if alert.for_ward)


def _top(wall: Wall) -> Part:
    inner = f'<h1>{escape(wall.title)}</h1><span>{escape(wall.hospital)}</span><b class="ww-clock">{wall.clock}</b>'
    return _part("wall-top", inner, "ww-top")


def _over(wall: Wall) -> Part:
    inner = "".join(f'<div class="ww-over-{kind}">{escape(text)}</div>' for kind, text in wall.over)
    return _part("wall-over", inner, "ww-over")


def _lost(wall: Wall) -> Part:
    head, _, rest = wall.lost[0].partition(". ")
    texts = [rest, *wall.lost[1:]]
    inner = f"<h2>{escape(head)}</h2>" + "".join(f"<p>{escape(text)}</p>" for text in texts if text)
    if said := [alert for alert in wall.alerts if alert.for_ward][:SHORT_MOST]:
        inner += f"<h3>{escape(words.STOOD)}</h3><ul>{''.join(map(_stood_line, said))}</ul>"
    return _part("wall-lost", inner, "ww-lost", "section", ' role="alert"')


def _stood_line(alert: Alert) -> str:
    return f"<li>{mark(alert.look)} <b>{escape(alert.who)}</b> {escape(alert.title)}. {escape(alert.do)}</li>"


def _calm(wall: Wall) -> Part:
    tone = " ww-well" if wall.calm else ""
    inner = f"<b>{escape(wall.summary)}</b><span>{escape(wall.counts)}</span>"
    return _part("wall-alert", inner, f"ww-calm{tone}", "section")


def _alert(wall: Wall, linked: bool) -> Part:
    alert = wall.alerts[0]
    look = alert.look
    known = f'<a href="./alarms">{escape(words.ACT)}</a>' if linked and not alert.acked else ""
    facts = [
        ("left", words.LEFT, escape(alert.left)), ("do", words.NOW, escape(alert.do)),
        ("change", words.CHANGE, escape(alert.change)),
        ("knows", words.KNOWS, f"{escape(_knows(alert))} {known}"),
    ]  # fmt: skip
    rows = "".join(
        f'<div class="ww-{name}"><dt>{escape(label)}</dt><dd>{text}</dd></div>'
        for name, label, text in facts if text
    )  # fmt: skip
    more = f", {escape(words.more(alert.more))}" if alert.more else ""
    inner = (
        f'<div class="ww-band">{mark(look)}<b>{escape(words.PRIORITY[look])}</b></div><div class="ww-said">'
        f"<h2>{_who(alert)} <span>{escape(alert.title)}</span>"
        f"<small>{escape(words.since(alert.since))}{more}</small></h2><dl>{rows}</dl></div>"
    )
    unheard = "" if alert.acked else " ww-unheard"
    return _part("wall-alert", inner, f"ww-alert ww-{look}{unheard}", "section")


def _who(alert: Alert) -> str:
    head, _, names = alert.who.partition(": ")
    return f"<b>{escape(head)}</b>{f' <em>{escape(names)}</em>' if names else ''}"


def _knows(alert: Alert) -> str:
    return f"{alert.told} {alert.acked or words.NOT_ACKNOWLEDGED}".strip()


def _short(wall: Wall) -> Part | None:
    """The alerts that are not written out, in a line each."""
    rest = [alert for alert in wall.alerts if not alert.for_ward or alert is not wall.alerts[0]]
    if not rest:
        return None
    shown, left = rest[:SHORT_MOST], len(rest) - SHORT_MOST
    lines = "".join(map(_short_line, shown))
    lines += f"<li>{escape(words.more(left))}</li>" if left > 0 else ""
    return _part("wall-short", lines, "ww-short", "ul", f' aria-label="{escape(words.OTHERS)}"')


def _short_line(alert: Alert) -> str:
    unheard = " ww-unheard" if alert.for_ward and not alert.acked else ""
    said = alert.left.partition(". ")[0] if alert.foretold else alert.title
    ticked = " ✓" if alert.acked else ""
    return (
        f'<li class="ww-{alert.look}{unheard}">{mark(alert.look)}<b>{escape(alert.who.partition(": ")[0])}</b> '
        f"<span>{escape(said)}{ticked}</span></li>"
    )


def _tile(tile: Tile, linked: bool) -> Part:
    classes = f"ww-tile ww-{tile.look}" + " ww-unheard" * tile.unheard + " ww-greyed" * tile.greyed
    values = "" if tile.greyed or tile.look in _BLANK else (
        f'<span class="ww-values"><b>{escape(tile.purity)}<small> %</small></b>'
        f"<span>{escape(tile.flow)}<small> L/min</small></span></span>"
    )  # fmt: skip
    said = "; ".join(text for text in (tile.word, tile.holds, tile.note if tile.look not in _LOUD else "") if text)
    inner = (
        f'<span class="ww-name">{mark(tile.look)}<b>{escape(tile.unit)}</b></span>{values}'
        f'<span class="ww-word">{escape(said)}</span>'
    )
    if linked:
        return _part(f"tile-{tile.unit}", inner, classes, "a", f' href="./unit?unit={quote(tile.unit)}"')
    return _part(f"tile-{tile.unit}", inner, classes)


_BLANK: Final = (Look.UNUSED, Look.OFF)
_LOUD: Final = (Look.HIGH, Look.MEDIUM, Look.LOW)


def _foot(wall: Wall, linked: bool) -> Part:
    way = f'<a href="./">{escape(words.ALL_WARDS)}</a>' if linked else ""
    return _part(
        "wall-foot", f"{way}<b>{escape(wall.backup)}</b><span>{escape(common_words.CAUTION)}</span>", "ww-foot"
    )
