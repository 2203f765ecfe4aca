"""Where a unit may go and what it may be swapped with, as choices and as entries that ask for it; pure.

Rules of this file: what is offered is what `rights` lets this person write; the same rule is asked again at writing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from collector.backup.known import Spare
from collector.people.rights import NotAllowed, refuse_unless_may
from collector.rules.entries import JournalEntry
from collector.site import Site
from collector.siteedit import asked
from collector.terms import title_of
from dashboard import place_words as words
from dashboard.actions import TEXT_MAX, Person
from dashboard.describing import asking
from dashboard.queries import Now
from dashboard.times import moment_text

#: Alarms of this priority mean that a unit does not give what it is for, or soon will not.
_PRESSING: Final = ("high", "medium")


class Choice(NamedTuple):
    """A unit to swap with; `good` when it is a spare proven to the flow that the other one gives."""

    unit: str
    said: str
    good: bool = False


def ward_title(site: Site, ward: str) -> str:
    """What people call it; a ward that the file has no more by its id."""
    if not ward:
        return words.NO_WARD
    return next((one.title for one in site.wards if one.id == ward), ward)


def stands_in(site: Site, unit: str) -> str:
    """The ward that the site file names for a unit, "" for none."""
    known = site.unit(unit)
    return known.ward if known is not None else ""


def may_write(entry: JournalEntry, person: Person, site: Site) -> bool:
    """Whether this person may write this row."""
    try:
        refuse_unless_may(person.role, person.wards, entry, site)
    except NotAllowed:
        return False
    return True


def move(site: Site, unit: str, ward: str, person: Person, now_ms: int, why: str = "") -> JournalEntry:
    """Ask for a unit to stand in another ward ("": in none)."""
    here = stands_in(site, unit)
    body = {"do": asked.MOVE, "unit": unit, "from": here, "to": ward, "why": _tidy(why)}
    return asking(body, person, now_ms, unit, here)


def swap(site: Site, unit: str, other: str, person: Person, now_ms: int, why: str = "") -> JournalEntry:
    """Ask for two units to change places."""
    here, there = stands_in(site, unit), stands_in(site, other)
    body = {"do": asked.SWAP, "unit": unit, "with": other, "from": here, "to": there, "why": _tidy(why)}
    return asking(body, person, now_ms, unit, here)


def _tidy(why: str) -> str:
    return " ".join(why.split())[:TEXT_MAX]


def destinations(site: Site, unit: str, person: Person) -> list[str]:
    """Wards to which this person may move the unit, and "" for none."""
    here, someone = stands_in(site, unit), _somebody(person)
    every = [*(ward.id for ward in site.wards), ""]
    return [to for to in every if to != here and may_write(move(site, unit, to, someone, 0), someone, site)]


def _somebody(person: Person) -> Person:
    """The person, with a name for as long as it is only asked what they may do."""
    return person if person.name.strip() else person._replace(name="?")


def spares(now: Now) -> dict[str, Spare]:
    """Units that nobody uses and that are proven, as last judged, without those out of service."""
    found = {one.unit: one for ward in now.backup.wards.values() for one in ward.spares}
    return {unit: one for unit, one in found.items() if unit not in now.out_of_service}


def needed_lpm(now: Now, unit: str) -> float:
    """The flow that a stand-in has to give: what the unit gives or gave, else its rated flow."""
    flows = [ward.flows[unit] for ward in now.backup.wards.values() if unit in ward.flows]
    return flows[0] if flows else now.model_of(unit).rated_flow_lpm


def spare_here(now: Now, unit: str) -> Spare | None:
    """The best spare that stands in the unit's own ward."""
    if now.site is None:
        return None
    here = stands_in(now.site, unit)
    near = [one for one in spares(now).values() if one.unit != unit and stands_in(now.site, one.unit) == here]
    return max(near, key=lambda one: one.good_to_lpm, default=None)


def choices(now: Now, unit: str, person: Person, now_ms: int) -> list[Choice]:
    """Units of other wards to swap with: proven spares that hold the flow, other spares, the rest, those out of use."""
    site = now.site
    if site is None:
        return []
    here, someone, proven, need = stands_in(site, unit), _somebody(person), spares(now), needed_lpm(now, unit)
    others = [one for one in site.units if one.id != unit and one.ward != here]
    ranked = sorted(others, key=lambda one: _rank(one.id, proven, need, now))
    return [_choice(site, one.id, proven.get(one.id), need, now, now_ms) for one in ranked
            if may_write(swap(site, unit, one.id, someone, 0), someone, site)]  # fmt: skip


def _rank(unit: str, proven: dict[str, Spare], need: float, now: Now) -> tuple[int, float, str]:
    if (one := proven.get(unit)) is not None:
        return (0 if one.good_to_lpm >= need else 1), -one.good_to_lpm, unit
    return (3 if unit in now.out_of_service else 2), 0.0, unit


def _choice(site: Site, unit: str, spare: Spare | None, need: float, now: Now, now_ms: int) -> Choice:
    ward = ward_title(site, stands_in(site, unit))
    if spare is None:
        return Choice(unit, (words.other_out if unit in now.out_of_service else words.other)(unit, ward))
    flow = f"{spare.good_to_lpm:.1f}"
    if spare.good_to_lpm < need:
        return Choice(unit, words.spare_short(unit, ward, flow))
    return Choice(unit, words.spare(unit, ward, flow, moment_text(spare.proven_ms, now_ms, now.zone)), good=True)


def failing_why(now: Now, unit: str) -> str:
    """What a unit is to be replaced for: its worst alarm that stands; "" where none does."""
    own: Sequence[str] = [title_of(one.condition) for one in now.speaking()
                          if one.unit == unit and one.active and one.priority in _PRESSING]  # fmt: skip
    return own[0] if own else ""
