"""A letter in words: a first line that goes as one SMS, and the whole for ways that carry more; pure.

Rules of this file: one voice, the catalogue's. A line says where, what, since when and the one thing to do; it never
speaks of a patient. What does not fit is left off from the end: the marks, the place and the title come first.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from collector.backup.card import Card
from collector.messages.gsm import cut, goes, plain
from collector.messages.happenings import TEST, Happening
from collector.messages.plan import Letter
from collector.rules.limits import MINUTE
from collector.site import Site

CAUTION: Final = (
    "It watches machines, not patients. The unit's own alarm, pulse oximetry and the ward's protocol stay primary."
)
_LISTED: Final = 10
_OLD_MS: Final = 10 * MINUTE

Cards = Mapping[tuple[str, str, str], Card]


class Text(NamedTuple):
    """A message: `line` fits one SMS; title and body are for ways that carry more."""

    line: str
    title: str
    body: str


def text_of(letter: Letter, site: Site, cards: Cards, now_ms: int) -> Text:
    """The words of a letter; `cards` say what to change over to, by alarm (unit, ward of a ward's alarm, condition)."""
    first, more = letter.happenings[0], letter.happenings[1:]
    marks = _marks(site, first)
    when = since_text(first.since_ms, now_ms, site)
    what = f"{letter.news}{': ' if letter.news else ''}{_place(first, site)}{first.title}"
    card = cards.get((first.unit, "" if first.unit else first.ward, first.condition))
    end = f" And {len(more)} more: see the board." if more else ""
    line = _line(plain(f"{marks}{what} (since {when})."), first, card, end)
    urgent = "HIGH: " if letter.priority == "high" else ""
    return Text(line, f"{marks}{urgent}{what}" + (f" and {len(more)} more" if more else ""),
                _body(letter, site, card, now_ms))  # fmt: skip


def _line(head: str, first: Happening, card: Card | None, end: str) -> str:
    """The head and as much of what to do as goes with it.

    An instruction ends with what to do now, so what leads up to it goes first; a card begins with it.
    """
    from_card = card is not None and first.priority == "high"
    sentences = plain(card.say if card is not None and from_card else first.action).split(". ")
    while len(sentences) > 1 and not goes(f"{head} {_joined(sentences)}{end}"):
        sentences.pop(-1 if from_card else 0)
    if from_card and not goes(f"{head} {_joined(sentences)}{end}"):
        sentences = [sentences[0].split(": ")[0]]  # what to change over to, without how long it lasts
    return cut(f"{head} {_joined(sentences)}", end)


def _joined(sentences: list[str]) -> str:
    return ". ".join(sentences).rstrip(".") + "."


def _body(letter: Letter, site: Site, card: Card | None, now_ms: int) -> str:
    first, more = letter.happenings[0], letter.happenings[1:]
    marks = _marks(site, first)
    lines = [f"{marks}{_place(first, site)}{first.title}, since {since_text(first.since_ms, now_ms, site)}.",
             first.action]  # fmt: skip
    if card is not None:
        lines += [card.say, *card.cautions]
    if first.units and first.kind != TEST:
        lines.append(f"Units: {', '.join(first.units)}.")
    if letter.step_min:
        lines.append(f"You are told because nobody has acknowledged it for {letter.step_min:g} min.")
    if more:
        lines += ["", "Also:", *(f"- {_listed(one, site, now_ms)}" for one in more[:_LISTED])]
        lines += [f"- and {len(more) - _LISTED} more: see the board"] if len(more) > _LISTED else []
    return "\n".join([*lines, "", CAUTION])


def _listed(one: Happening, site: Site, now_ms: int) -> str:
    return f"{_place(one, site)}{one.title}, since {since_text(one.since_ms, now_ms, site)}. {one.action}"


def _marks(site: Site, first: Happening) -> str:
    simulated = "SIMULATED " if site.simulated else ""
    return f"{simulated}TEST, no alarm: " if first.kind == TEST else simulated and "SIMULATED: "


def _place(one: Happening, site: Site) -> str:
    ward = next((ward.title for ward in site.places() if ward.id == one.ward), one.ward)
    place = ", ".join(part for part in (ward, one.unit) if part)
    return f"{place}: " if place else ""


def since_text(since_ms: int, now_ms: int, site: Site) -> str:
    """A moment as a clock of the facility shows it, with the day if it is another, and how long ago if it is old."""
    zone = ZoneInfo(site.facility.timezone)
    then, now = (datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone) for ms in (since_ms, now_ms))
    shown = f"{then:%H:%M}" if then.date() == now.date() else f"{then.day} {then:%b %H:%M}"
    age_ms = now_ms - since_ms
    return shown if age_ms < _OLD_MS else f"{shown}, {_age(age_ms // MINUTE)} ago"


def _age(minutes: int) -> str:
    if minutes < 100:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else f"{minutes // 1440} days"
