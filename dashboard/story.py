"""The demo's story at a moment: what has happened so far, what the alarms said of it, what is still to come; pure.

Rules of this file: everything comes from the story that the scenario tells (`simulator/telling.py`) and from the
journal; nothing of a certain night is known here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import msgspec

from collector.site import Site
from collector.terms import title_of
from dashboard import story_words as words
from dashboard.episodes import Episode
from dashboard.queries import Now
from dashboard.sheet import Cell, Row
from dashboard.times import HOUR, lasted_text, moment_text

#: An alarm this long after a part's end may still be of it.
AFTER_MS: Final = HOUR
#: Alarms that are named beside a part; the page of alarms has all.
NAMED: Final = 4


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that happens, to some units, a ward's or a bridge's; times in ms since 1970, until_ms None: no end."""

    kind: str
    at_ms: int
    until_ms: int | None = None
    grows_ms: int | None = None
    units: tuple[str, ...] = ()
    ward: str = ""
    bridge: str = ""


class Story(msgspec.Struct, frozen=True, kw_only=True):
    """A whole story; its parts in the order in which they begin."""

    title: str = ""
    why: str = ""
    start_ms: int
    end_ms: int
    parts: tuple[Part, ...] = ()


class Beat(NamedTuple):
    """A part's beginning, or its end."""

    at_ms: int
    part: Part
    ends: bool


def story_in(document: Mapping[str, Any]) -> Story | None:
    """The story of a status document; None when there is none, or nobody here wrote it."""
    try:
        return msgspec.convert(document, Story) if document else None
    except msgspec.ValidationError:
        return None


def beats(story: Story) -> list[Beat]:
    """Beginnings and ends, in order."""
    found = [Beat(part.at_ms, part, ends=False) for part in story.parts]
    found += [Beat(part.until_ms, part, ends=True) for part in story.parts if part.until_ms is not None]
    return sorted(found, key=lambda beat: (beat.at_ms, beat.ends))


def what(beat: Beat) -> str:
    """What happens, in a sentence."""
    part = beat.part
    if beat.ends:
        return words.ENDS.get(part.kind, words.REPAIRED)
    begins = words.BEGINS.get(part.kind, words.SOMETHING)
    return words.slowly(begins, lasted_text(part.grows_ms)) if part.grows_ms else begins


def where(part: Part, site: Site | None) -> Cell:
    """To whom; one unit is a link to its page."""
    if part.bridge:
        return Cell(part.bridge if part.bridge.startswith("bridge") else words.bridge(part.bridge))
    if part.ward:
        titles = {ward.id: ward.title for ward in site.wards} if site else {}
        return Cell(words.ward(titles.get(part.ward, part.ward)))
    return Cell(part.units[0], unit=part.units[0]) if len(part.units) == 1 else Cell(", ".join(part.units))


def of_part(part: Part, site: Site | None, found: Sequence[Episode]) -> list[Episode]:
    """Alarms of its units, or of their wards, from its beginning to a while after its end; the earliest first."""
    wards = {site.ward_of(unit).id for unit in part.units if site and site.unit(unit)}
    until_ms = float("inf") if part.until_ms is None else part.until_ms + AFTER_MS
    of_it = [
        one for one in found if one.unit in part.units or (not one.unit and one.ward in wards and not _single(part))
    ]
    return sorted((one for one in of_it if one.raised_ms is not None and part.at_ms <= one.raised_ms < until_ms),
                  key=lambda one: one.raised_ms or 0)  # fmt: skip


def _single(part: Part) -> bool:
    """Whether it befalls one unit alone: then a ward's alarm is of something else."""
    return len(part.units) == 1


def told_rows(story: Story, now: Now, now_ms: int, found: Sequence[Episode]) -> list[Row]:
    """What has happened, the newest first: when, where, what, and what the alarms said."""
    rows: list[Row] = []
    for beat in reversed([beat for beat in beats(story) if beat.at_ms <= now_ms]):
        said = "" if beat.ends else _said(of_part(beat.part, now.site, found), now, now_ms)
        rows.append((_when(beat, story, now, now_ms), where(beat.part, now.site), what(beat), said))
    return rows


def _when(beat: Beat, story: Story, now: Now, now_ms: int) -> str:
    when = moment_text(beat.at_ms, now_ms, now.zone)
    return words.from_before(when) if beat.at_ms < story.start_ms else when


def _said(found: Sequence[Episode], now: Now, now_ms: int) -> str:
    kinds = list(dict.fromkeys(one.condition for one in found))  # of many units, one alarm each says the same
    alike = [[one for one in found if one.condition == kind] for kind in kinds]
    return "; ".join(_alarm(listed, now, now_ms) for listed in alike[:NAMED]) or words.NOTHING_SAID


def _alarm(alike: Sequence[Episode], now: Now, now_ms: int) -> str:
    title, raised = title_of(alike[0].condition), moment_text(alike[0].raised_ms, now_ms, now.zone)
    ends = [one.cleared_ms for one in alike if one.cleared_ms is not None]
    if len(ends) < len(alike):
        return words.alarm(title, raised)
    return words.alarm_over(title, raised, moment_text(max(ends), now_ms, now.zone))


def coming_rows(story: Story, now: Now, now_ms: int) -> list[Row]:
    """What is still to come, the next first."""
    return [(moment_text(beat.at_ms, now_ms, now.zone), where(beat.part, now.site), what(beat))
            for beat in beats(story) if beat.at_ms > now_ms]  # fmt: skip


def clock_line(story: Story, now: Now, now_ms: int) -> str:
    """Where in the story the hospital's clock is."""
    here, end = moment_text(now_ms, now_ms, now.zone), moment_text(story.end_ms, now_ms, now.zone)
    return words.clock(here, end) if now_ms < story.end_ms else words.ended(here, end)
